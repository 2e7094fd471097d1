"""From a manifest and the hashes of its files to the analyses that it asks for."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from backbench.documents.bench_terms import bench_terms
from backbench.documents.file_names import MANIFEST_NAME
from backbench.documents.manifest import Capture, Conditions, Manifest, TrackRole
from backbench.documents.settings import InForce, Settings, calibration_for
from backbench.documents.stimuli import Idle, Stimulus, Sweep, Table, analysis_kind
from backbench.errors import Fault, UserError
from backbench.ingest.alias_resolution import under_present_keys
from backbench.ingest.reading_rows import digest
from backbench.ingest.sound_entries import sound_figures, without_copies
from backbench.metrics.registry import registry
from backbench.quantities.counts import counted
from backbench.readers.file_formats import open_recording
from backbench.storage.vault import Receipt, Vault


@dataclass(frozen=True)
class Source:
    """An original in the vault, with the volts at full scale of its tracks (None for a table)."""

    path: Path
    name: str
    sha256: str
    calibration: InForce | None


@dataclass(frozen=True)
class Job:
    """One capture to analyse. Holds all that its readings depend on; can be sent to a worker.

    bench: the loop-back that the capture is corrected by, where there is one. bench_levels: further
        ones under the same tone, at other levels. witness: beside one with nothing playing, a tone
        that tells of the recorder's rate.
    """

    review_key: str
    position: int
    source: Source
    reference: Source | None
    stimulus: Stimulus
    conditions: Conditions
    roles: dict[int, TrackRole]
    loop_back: bool
    mains_hz: float
    load_uncertainty: float
    generator_uncertainty: float
    bench: Job | None = None
    bench_levels: tuple[Job, ...] = ()
    witness: Job | None = None

    @property
    def benches(self) -> list[Job]:
        """Every loop-back that the capture's readings depend on."""
        return [*([self.bench] if self.bench else []), *self.bench_levels]

    @cached_property
    def base_key(self) -> str:
        """Key of the bytes, conditions and calibration, without method versions."""
        return digest(
            self.review_key,
            [_identity(source) for source in (self.source, self.reference) if source],
            [self.stimulus.kind, self.stimulus.identity()],
            self.conditions.model_dump(),
            {position: role.identity() for position, role in self.roles.items()},
            [self.loop_back, self.mains_hz, self.load_uncertainty, self.generator_uncertainty],
            *[other.base_key for other in self._others],
        )

    @cached_property
    def analysis_key(self) -> str:
        """Key of the analysis: the base and the method versions that it rests on."""
        kind = analysis_kind(self.stimulus)
        versions = registry().versions(kind) if kind in registry().views else {}
        return digest(self.base_key, versions)

    @property
    def own_sources(self) -> list[Source]:
        """The originals without which the capture can't be analysed."""
        return [source for source in (self.source, self.reference) if source]

    @property
    def sources(self) -> list[Source]:
        """Every original that is read, those of the loop-back among them."""
        return [*self.own_sources, *(source for other in self._others for source in other.sources)]

    @property
    def _others(self) -> list[Job]:
        return [*self.benches, *([self.witness] if self.witness else [])]

    def placed(self, path: Callable[[str], Path]) -> Job:
        """The same job with each original where `path` says, given its hash."""

        def moved(source: Source) -> Source:
            return replace(source, path=path(source.sha256))

        return replace(
            self,
            source=moved(self.source),
            reference=moved(self.reference) if self.reference else None,
            bench=self.bench.placed(path) if self.bench else None,
            bench_levels=tuple(bench.placed(path) for bench in self.bench_levels),
            witness=self.witness.placed(path) if self.witness else None,
        )


@dataclass(frozen=True)
class PlannedCapture:
    """A capture of the manifest with its analysis key; job is None where its file is missing."""

    capture: Capture
    conditions: Conditions
    position: int
    analysis_key: str
    sha256: str | None
    bytes: int | None
    job: Job | None
    reason: str | None


@dataclass(frozen=True)
class PlannedReview:
    """A review ready to be analysed and loaded. terms: of the bench, by input range ("": none)."""

    manifest: Manifest
    receipt: Receipt
    captures: tuple[PlannedCapture, ...]
    terms: tuple[tuple[str, str], ...] = ()

    @property
    def key(self) -> str:
        return self.manifest.review.key


def _identity(source: Source) -> list[Any]:
    calibration = source.calibration
    return [source.sha256, calibration.model_dump(mode="json") if calibration else None]


def plan_review(
    manifest: Manifest, receipt: Receipt, settings: Settings, vault: Vault
) -> PlannedReview:
    """Plan every capture; one whose range isn't calibrated fails alone.

    A figure that can't be read, or a copy of a recording, is refused alone. Raises UserError with
    the faults of the bench where nothing could be measured.
    """
    manifest = sound_figures(under_present_keys(manifest, settings))
    manifest = without_copies(manifest, receipt.files)
    bench = [*bench_faults(manifest, settings)]
    recordings = [one for one in manifest.capture if not isinstance(one.stimulus, Table)]
    usable = any(not _uncalibrated(manifest, settings, one) for one in recordings)
    if bench and not usable:
        what = f"{MANIFEST_NAME} has {counted(len(bench), 'fault')}"
        raise UserError(f"{manifest.review.key}: {what}", bench)
    captures = tuple(_Planning(manifest, receipt, settings, vault).captures())
    return PlannedReview(manifest, receipt, captures, tuple(_terms(manifest, settings)))


def _terms(manifest: Manifest, settings: Settings) -> Iterator[tuple[str, str]]:
    """The bench's terms by input range, of the ranges that are calibrated."""
    review = manifest.review
    for name in wanted_ranges(manifest):
        try:
            yield name or "", bench_terms(settings, review.bench, review.date, name)
        except UserError:
            continue


class _Planning:
    """The captures of one review while they are planned.

    A loop-back is the bench of many captures, and calibrations and conditions are the same again
    and again: each is made once and shared, since the plans of all reviews are held at a time.
    """

    def __init__(
        self, manifest: Manifest, receipt: Receipt, settings: Settings, vault: Vault
    ) -> None:
        self._manifest, self._receipt = manifest, receipt
        self._settings, self._vault = settings, vault
        self._numbered = [*manifest.numbered(manifest.capture, "capture")]
        self._jobs: dict[int, Job] = {}
        self._calibrations: dict[str | None, InForce] = {}
        self._conditions: dict[str, Conditions] = {}
        self._rates: dict[str, float | None] = {}

    def captures(self) -> Iterator[PlannedCapture]:
        """Each capture with its job, or the reason why it has none."""
        for position, capture in self._numbered:
            yield self._planned(position, capture)

    def _planned(self, position: int, capture: Capture) -> PlannedCapture:
        files = self._receipt.files
        received = files[capture.file]
        reference = getattr(capture.stimulus, "reference_file", None)
        missing = [
            f"{name}: {files[name].reason}"
            for name in filter(None, (capture.file, reference))
            if files[name].sha256 is None
        ]
        lacking = map(str, _uncalibrated(self._manifest, self._settings, capture))
        reason = "; ".join([*missing, *lacking]) or None
        job = None if reason else self._job(position, capture)
        review = self._manifest.review.key
        key = job.analysis_key if job else digest(review, position, capture.file, reason)
        return PlannedCapture(
            capture=capture,
            conditions=job.conditions if job else self._conditions_of(capture),
            position=position,
            analysis_key=key,
            sha256=received.sha256,
            bytes=received.bytes,
            job=job,
            reason=reason,
        )

    def _job(self, position: int, capture: Capture) -> Job:
        if position not in self._jobs:
            self._jobs[position] = self._made_job(position, capture)
        return self._jobs[position]

    def _made_job(self, position: int, capture: Capture) -> Job:
        manifest = self._manifest
        conditions = self._conditions_of(capture)
        bench = self._settings.bench[manifest.review.bench]
        loop_backs = list(self._bench_jobs(capture))
        is_table = isinstance(capture.stimulus, Table)
        held = None if is_table else self._in_force(conditions.range)
        reference = None
        if isinstance(capture.stimulus, Sweep) and capture.stimulus.reference_file:
            played = self._in_force(capture.stimulus.reference_range)
            reference = self._source(capture.stimulus.reference_file, played)
        return Job(
            review_key=manifest.review.key,
            position=position,
            source=self._source(capture.file, held),
            reference=reference,
            stimulus=capture.stimulus,
            conditions=conditions,
            roles=manifest.tracks_of(capture),
            loop_back=capture.loop_back,
            mains_hz=manifest.review.mains_hz,
            load_uncertainty=bench.load_uncertainty_percent / 100,
            generator_uncertainty=bench.generator_uncertainty_percent / 100,
            bench=next(iter(loop_backs), None),
            bench_levels=tuple(loop_backs[1:]) if capture.stimulus.levelled else (),
            witness=self._witness(capture) if isinstance(capture.stimulus, Idle) else None,
        )

    def _witness(self, capture: Capture) -> Job | None:
        """The tone beside a capture with nothing playing that shows its sample rate best.

        One under the same stated rate, where there is one. Of those the first of a generator; a
        loop-back's where no unit's is there, as the recorder is the same; one that a machine plays
        where there is no other.
        """
        rate = self._stated_rate(capture.file)
        same = (each for each in self._tones if self._stated_rate(each[1].file) == rate)
        chosen = next(same, next(iter(self._tones), None))
        return chosen and replace(self._job(*chosen), bench=None, bench_levels=())

    @cached_property
    def _tones(self) -> list[tuple[int, Capture]]:
        """The captures that may show the recorder's rate, the best first."""
        fit = [
            (position, each) for position, each in self._numbered
            if each.stimulus.shows_rate_within is not None
            and self._receipt.files[each.file].sha256 is not None and self._is_calibrated(each)
        ]  # fmt: skip
        return sorted(fit, key=lambda each: _shows_rate(each[1]))

    def _stated_rate(self, name: str) -> float | None:
        """The sample rate that a received file states, Hz; None where it can't be read."""
        if name not in self._rates:
            sha256 = self._receipt.files[name].sha256
            self._rates[name] = None if sha256 is None else _rate_of(self._vault.path(sha256), name)
        return self._rates[name]

    def _bench_jobs(self, capture: Capture) -> Iterator[Job]:
        """The loop-backs in the same input range under the same stimulus, levels aside."""
        if capture.loop_back or isinstance(capture.stimulus, Table):
            return
        wanted = self._manifest.range_of(capture)
        same = capture.stimulus.same_with_loop_back
        for position, other in self._numbered:
            if not other.loop_back or other.stimulus.same_with_loop_back != same:
                continue
            reference = getattr(other.stimulus, "reference_file", None)
            files = [self._receipt.files[name] for name in (other.file, reference) if name]
            same_range = self._manifest.range_of(other) == wanted
            whole = all(file.sha256 for file in files)
            if same_range and whole and self._is_calibrated(other):
                yield self._job(position, other)

    def _is_calibrated(self, capture: Capture) -> bool:
        return not _uncalibrated(self._manifest, self._settings, capture)

    def _source(self, name: str, calibration: InForce | None) -> Source:
        sha256 = self._receipt.files[name].sha256
        assert sha256 is not None
        return Source(self._vault.path(sha256), name, sha256, calibration)

    def _in_force(self, input_range: str | None) -> InForce:
        if input_range not in self._calibrations:
            found = _in_force(self._manifest, self._settings, input_range)
            self._calibrations[input_range] = found
        return self._calibrations[input_range]

    def _conditions_of(self, capture: Capture) -> Conditions:
        conditions = self._manifest.conditions_of(capture)
        return self._conditions.setdefault(repr(conditions), conditions)


def _shows_rate(capture: Capture) -> tuple[float, bool]:
    """What orders captures by how well they show the recorder's rate, the best first."""
    within = capture.stimulus.shows_rate_within
    return math.inf if within is None else within, capture.loop_back


def _rate_of(path: Path, name: str) -> float | None:
    try:
        with open_recording(path, name) as opened:
            return opened.rate_hz
    except UserError:
        return None


def _in_force(manifest: Manifest, settings: Settings, input_range: str | None) -> InForce:
    return calibration_for(settings, manifest.review.bench, manifest.review.date, input_range)


def bench_faults(manifest: Manifest, settings: Settings) -> Iterator[Fault]:
    """Every calibration that the captures want and the settings lack, each once."""
    wanted = wanted_ranges(manifest)
    if not wanted and not manifest.entered:
        wanted = {None: set()} if manifest.review.bench not in settings.bench else {}
    for input_range, tracks in wanted.items():
        yield from _range_faults(manifest, settings, input_range, tracks)


def wanted_ranges(manifest: Manifest) -> dict[str | None, set[int]]:
    """The tracks of each range of the bench that the captures were taken with."""
    wanted: dict[str | None, set[int]] = {}
    for capture in manifest.capture:
        for name, tracks in _ranges_of(manifest, capture).items():
            wanted.setdefault(name, set()).update(tracks)
    return wanted


def _uncalibrated(manifest: Manifest, settings: Settings, capture: Capture) -> list[Fault]:
    """What the bench's settings lack for one capture; nothing for a table."""
    wanted = _ranges_of(manifest, capture)
    return [f for name in wanted for f in _range_faults(manifest, settings, name, wanted[name])]


def _ranges_of(manifest: Manifest, capture: Capture) -> dict[str | None, set[int]]:
    """The tracks of each range of the bench that a capture was taken with."""
    if isinstance(capture.stimulus, Table):
        return {}
    wanted = {manifest.range_of(capture): {*manifest.tracks_of(capture)}}
    if isinstance(capture.stimulus, Sweep) and capture.stimulus.reference_file:
        wanted.setdefault(capture.stimulus.reference_range, set()).add(1)
    return wanted


def _range_faults(
    manifest: Manifest, settings: Settings, input_range: str | None, tracks: set[int]
) -> Iterator[Fault]:
    try:
        held = _in_force(manifest, settings, input_range)
    except UserError as error:
        yield from error.faults
        return
    for track in sorted(tracks - set(held.volts)):
        yield Fault(
            f"bench {held.bench!r}, calibration {held.key}", f"no volts for track {track}",
            "volts_peak_at_full_scale of every track that a manifest uses",
        )  # fmt: skip


def named_files(manifest: Manifest) -> list[str]:
    """Every file that the manifest names: captures, sweeps' references, photographs; each once
    and in order."""
    names: dict[str, None] = {}
    for capture in manifest.capture:
        names = {**names, capture.file: None}
        reference = getattr(capture.stimulus, "reference_file", None)
        if reference:
            names = {**names, reference: None}
    return list(names | dict.fromkeys(picture.file for picture in manifest.photograph))
