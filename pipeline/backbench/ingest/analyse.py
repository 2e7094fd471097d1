"""One capture's bytes to rows. Runs in a worker; knows neither database nor orchestrator."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from backbench.documents.stimuli import Table, analysis_kind, frequency_of, generator_level
from backbench.errors import Refusal, UserError
from backbench.ingest.analysis_plan import Job
from backbench.ingest.reading_rows import DEFECT, Row, canonical, digest, figure_columns, frame
from backbench.ingest.recordings import pieces
from backbench.ingest.staging import SCHEMAS, leave_chunk
from backbench.metrics.declaration import CaptureData
from backbench.metrics.measurement import Finding, Trace, measure
from backbench.metrics.segments import over_time
from backbench.quantities.counts import counted
from backbench.readers.declaration import TableData
from backbench.readers.file_formats import read_table
from backbench.signal.track import Track
from backbench.storage.atomic_io import parquet_bytes
from backbench.storage.vault import refuse_changed

BENCHES_KEPT = 2
MORE_KEPT_BYTES = 64 * 2**20
"""Short loop-backs, several to a bench, are kept beyond that number up to this much memory."""


@dataclass(frozen=True)
class Analysed:
    """Rows of one capture, or the reason why it gave none."""

    analysis_key: str
    reason: str | None
    readings: list[Row]
    curves: list[Row]
    seconds: float


def in_the_vault(job: Job) -> Job:
    """The job's originals are where it says."""
    return job


def analyse(job: Job, bring: Callable[[Job], Job] = in_the_vault) -> Analysed:
    """Measure one capture. A capture that fails, fails alone: its reason is kept.

    bring: gives the job with its originals within reach. Raises UserError where it can't.
    """
    started = time.perf_counter()
    readings: list[Row] = []
    curves: list[Row] = []
    reason = None
    try:
        # map holds on to no segment while the next one is read.
        findings, traces = over_time(map(measure, materials_of(bring(job))))
        powers = _powers(findings)
        readings = [_reading(job, finding, powers) for finding in findings]
        curves = [_curve(job, trace, powers) for trace in traces]
    except UserError as error:
        reason = "; ".join(str(fault) for fault in error.faults) or error.what
    except Refusal as refusal:
        reason = str(refusal)
    except Exception as error:
        # A defect of ours must not cost the reviewer the other captures; it is reported as one.
        readings, curves = [], []
        reason = f"{DEFECT}{type(error).__name__}: {str(error) or 'no message'}"
    return Analysed(job.analysis_key, reason, readings, curves, time.perf_counter() - started)


def stage_chunk(jobs: Sequence[Job], folder: Path) -> Path:
    """Analyse some captures and leave their rows as Parquet in a new folder; the folder."""
    return leave_chunk(tables_of([analyse(job) for job in jobs]), folder)


def tables_of(done: Sequence[Analysed]) -> dict[str, bytes]:
    """The rows of some captures as the Parquet files of a staged chunk, by table."""
    readings = [row for item in done for row in item.readings]
    curves = [row for item in done for row in item.curves]
    results: list[Row] = [
        {
            "analysis_key": item.analysis_key,
            "status": "failed" if item.reason else "analysed",
            "reason": item.reason,
            "seconds": item.seconds,
        }
        for item in done
    ]
    rows = {"reading": readings, "curve": curves, "result": results}
    return {name: parquet_bytes(frame(rows[name], schema)) for name, schema in SCHEMAS.items()}


def materials_of(job: Job) -> Iterator[CaptureData]:
    """The job's files as they are measured: one piece, or the segments of a long recording.

    Raises UserError or Refusal where a file can't be used.
    """
    if isinstance(job.stimulus, Table):
        refuse_changed(job.source.path, job.source.sha256, job.source.name)
        table = read_table(job.source.path, job.stimulus, name=job.source.name)
        return iter([_material(job, {}, None, None, table=table)])
    bench = None if job.bench is None else _bench(job.bench)
    levels = tuple(filter(None, map(_bench, job.bench_levels)))
    read = pieces(job.source, job.stimulus, job.roles)
    return map(partial(_recorded, job, bench, levels), read)


def _recorded(
    job: Job,
    bench: CaptureData | None,
    levels: tuple[CaptureData, ...],
    tracks: dict[int, Track],
) -> CaptureData:
    lacking = sorted(set(job.roles) - set(tracks))
    if lacking:
        named = ", ".join(map(str, lacking))
        raise Refusal(
            f"it has {counted(len(tracks), 'track')}, but track {named} is named too; record every "
            "track, or correct [tracks]"
        )
    outputs = {n: tracks[n] for n, role in job.roles.items() if role.output}
    generator = next((tracks[n] for n, role in job.roles.items() if role.generator), None)
    reference = generator
    if job.reference:
        reference = next(iter(next(pieces(job.reference, job.stimulus)).values()))
    whole = _material(job, outputs, generator, reference, bench=bench)
    witness = None if job.witness is None else _bench(job.witness)
    return replace(whole, bench_levels=levels, currents=_currents(job, tracks), witness=witness)


def _currents(job: Job, tracks: dict[int, Track]) -> dict[int, Track]:
    """Current through the load of each output that has a track of it, A, by the output's track."""
    place = {(role.unit, role.output): n for n, role in job.roles.items() if role.output}
    currents = {}
    for n, role in job.roles.items():
        if role.current and role.volts_per_ampere:
            track, scale = tracks[n], 1 / role.volts_per_ampere
            amperes = replace(
                track, volts=scale * track.volts, full_scale_v=scale * track.full_scale_v
            )
            currents[place[role.unit, role.current]] = amperes
    return currents


def _material(
    job: Job,
    outputs: dict[int, Track],
    generator: Track | None,
    reference: Track | None,
    table: TableData | None = None,
    bench: CaptureData | None = None,
) -> CaptureData:
    driven = job.conditions.driven
    driven_track = next((n for n, r in job.roles.items() if driven and r.output == driven), None)
    return CaptureData(
        stimulus=job.stimulus,
        conditions=job.conditions,
        outputs=outputs,
        generator=generator,
        reference=reference,
        table=table.columns if table else None,
        table_uncertainty=table.uncertainty if table else {},
        table_remark=table.remark if table else None,
        load_uncertainty=job.load_uncertainty,
        generator_uncertainty=job.generator_uncertainty,
        mains_hz=job.mains_hz,
        driven_track=driven_track,
        names={n: role.output for n, role in job.roles.items() if role.output},
        bench=bench,
    )


_bench_kept: dict[str, CaptureData] = {}


def _bench(job: Job) -> CaptureData | None:
    """The bench's own loop-back, or a tone that tells of the recorder's rate, kept for the captures
    that follow; None where it is unfit.

    Of a long one the first segment: it shows what the others would. An unfit loop-back is shown by
    its own readings; it mustn't cost the unit's captures theirs.
    """
    kept = _bench_kept.get(job.base_key)
    if kept is not None:
        return kept
    try:
        bench = next(materials_of(job))
    except (UserError, Refusal):
        return None
    while len(_bench_kept) >= BENCHES_KEPT and _bytes_kept() > MORE_KEPT_BYTES:
        del _bench_kept[next(iter(_bench_kept))]
    _bench_kept[job.base_key] = bench
    return bench


def _bytes_kept() -> int:
    return sum(
        track.volts.nbytes for kept in _bench_kept.values() for track in kept.outputs.values()
    )


def _powers(findings: Sequence[Finding]) -> dict[int, float]:
    """Output power measured on each track; a capture has one metric of its stimulus' power."""
    return {
        f.track: f.figure.value
        for f in findings
        if f.metric.traits.own_stimulus == "power" and f.figure is not None and not f.of_part
    }


def _shared(job: Job, track: int, powers: dict[int, float]) -> Row:
    """Columns that readings and curves of a track have in common."""
    role = job.roles[track]
    return {
        "review_key": job.review_key,
        "analysis_key": job.analysis_key,
        "unit_key": "" if job.loop_back else role.unit,
        "output": role.output,
        "power_w": powers.get(track),
        "load_ohm": job.conditions.load_resistance,
        "load_kind": job.conditions.load_kind,
    }


def _reading(job: Job, finding: Finding, powers: dict[int, float]) -> Row:
    figure = finding.figure
    frequency = figure.frequency_hz if figure else None
    detail = canonical(figure.detail if figure else {})
    order = figure.order if figure else None
    limit = figure.limit_percent if figure else None
    metric = finding.metric
    shared = _shared(job, finding.track, powers)
    level = finding.generator_vrms
    key = digest(
        job.base_key, metric.name, metric.version,
        shared["unit_key"], shared["output"], frequency, order, limit, detail,
        *[part for part in (level, finding.row) if part is not None],
    )  # fmt: skip
    return {
        **shared,
        "power_w": finding.power_w if finding.of_part else shared["power_w"],
        "reading_key": key,
        "against": None,
        "metric": metric.name,
        "method_version": metric.version,
        "stimulus": analysis_kind(job.stimulus),
        "frequency_hz": frequency_of(job.stimulus) if frequency is None else frequency,
        "generator_vrms": generator_level(job.stimulus) if level is None else level,
        "input": job.conditions.input,
        "tap": job.conditions.tap,
        "volume": job.conditions.volume,
        "driven": job.conditions.driven,
        "order_n": order,
        "limit_percent": limit,
        "detail": detail,
        "status": finding.status,
        "reason": finding.reason,
        **figure_columns(figure),
    }


def _curve(job: Job, trace: Trace, powers: dict[int, float]) -> Row:
    return {
        **_shared(job, trace.track, powers),
        "curve": trace.name,
        "method_version": trace.version,
        "frequency_hz": frequency_of(job.stimulus),
        "x_unit": trace.x_unit,
        "y_unit": trace.y_unit,
        "x": trace.data.x.tolist(),
        "y": trace.data.y.tolist(),
        "uncertainty": None if trace.data.uncertainty is None else trace.data.uncertainty.tolist(),
    }
