"""Tables that come from declarations and settings: metrics, benches, loudspeakers, points."""

from __future__ import annotations

from backbench.documents.kinds import unit_kinds
from backbench.documents.settings import Settings
from backbench.ingest.reading_rows import Row
from backbench.metrics.registry import registry
from backbench.storage.database import Database
from backbench.storage.held_rows import hold_rows
from backbench.test_points.assign import assign_all_points, renew_kept, sync_points


def sync_reference(store: Database, settings: Settings) -> None:
    """Make the reference tables say what declarations and settings say."""
    with store.transaction():
        changed = {table for table, rows in _declared(settings) if hold_rows(store, table, rows)}
        if sync_points(store, settings) and store.rows("SELECT 1 FROM reading LIMIT 1"):
            assign_all_points(store)
        elif "metric" in changed:
            renew_kept(store, None)


def _declared(settings: Settings) -> list[tuple[str, list[Row]]]:
    """Tables that follow declarations and settings alone, with their rows."""
    return [
        ("bench", _benches(settings)),
        ("calibration", _calibrations(settings)),
        ("bench_event", _events(settings)),
        ("metric", _metrics()),
        ("unit_kind", kind_rows()),
        ("loudspeaker", [s.model_dump() for s in settings.loudspeaker]),
    ]


def _benches(settings: Settings) -> list[Row]:
    return [
        {
            "bench_key": key,
            "load_uncertainty_percent": bench.load_uncertainty_percent,
            "generator_uncertainty_percent": bench.generator_uncertainty_percent,
        }
        for key, bench in sorted(settings.bench.items())
    ]


def _calibrations(settings: Settings) -> list[Row]:
    return [
        {
            "bench_key": key,
            "since": calibration.since,
            "input_range": calibration.range,
            "track": int(track),
            "volts_peak_at_full_scale": volts,
            "uncertainty_percent": calibration.uncertainty_percent,
        }
        for key, bench in sorted(settings.bench.items())
        for calibration in bench.calibration
        for track, volts in sorted(calibration.volts_peak_at_full_scale.items())
    ]


def _events(settings: Settings) -> list[Row]:
    return [
        {"bench_key": key, **event.model_dump()}
        for key, bench in sorted(settings.bench.items())
        for event in bench.event
    ]


def kind_rows() -> list[Row]:
    """The kinds of unit in force, as rows."""
    return [
        {
            "kind": kind.name,
            "kind_group": kind.group,
            "drives_loudspeakers": kind.drives_loudspeakers,
        }
        for kind in unit_kinds().values()
    ]


def _metrics() -> list[Row]:
    return [
        {
            "metric": metric.name,
            "title": metric.title,
            "unit": metric.unit,
            "better": metric.better,
            "source": metric.source,
            "choice": metric.choice,
            "definition": metric.definition,
            "method_version": metric.version,
        }
        for metric in registry().metrics.values()
    ]
