"""What became of a unit's reviews: every receipt, what changed in it, which readings moved."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from backbench.documents.manifest import Manifest
from backbench.errors import UserError, unknown_key
from backbench.ingest.analysis_plan import plan_review
from backbench.ingest.incremental import work_of
from backbench.ingest.receive import recall
from backbench.ingest.run_ingest import apart, carry_out, prepare
from backbench.ingest.worker_pool import Workers
from backbench.maintenance.calibration_history import bench_changes
from backbench.maintenance.worded_changes import worded_changes
from backbench.progress import nothing
from backbench.quantities.writing import in_text
from backbench.storage.catalogue_paths import CataloguePaths
from backbench.storage.database import reading
from backbench.storage.scratch import scratch_folder
from backbench.storage.vault import Receipt

if TYPE_CHECKING:
    import polars as pl

READINGS = """
SELECT unit_key, output, against, metric, stimulus, frequency_hz, load_ohm, driven, order_n,
       limit_percent, detail, round(generator_vrms, 9) AS generator_vrms, value, status
FROM reading WHERE review_key = ? AND unit_key = ? ORDER BY ALL
"""
PLACE = 12
"""Leading columns of READINGS that tell which reading it is."""
CHANGED_BY = 1e-9


@dataclass(frozen=True)
class ChangedReading:
    """A reading before and after; None where it wasn't or isn't."""

    output: str
    metric: str
    conditions: str
    before: float | None
    after: float | None


@dataclass(frozen=True)
class HistoryEntry:
    """One receipt. changes: of the manifest and its files, since the receipt before.

    bench: that the review was measured on.
    """

    receipt: Receipt
    reviewed: str
    bench: str
    changes: tuple[str, ...]
    changed_readings: tuple[ChangedReading, ...] | None = None


def history(
    places: CataloguePaths, unit: str, *, with_readings: bool,
    started: Callable[[int], None] = nothing, progress: Callable[[int], None] = nothing,
) -> list[HistoryEntry]:  # fmt: skip
    """Every receipt of the reviews that a unit stood in, under any of its keys, in order.

    with_readings: old readings are computed again from the vault, by the methods and the
    calibrations in force. started is called with the number of receipts; progress, with how many
    were just read. Raises UserError where the unit is not known.
    """
    entries: list[HistoryEntry] = []
    before: dict[str, Receipt] = {}
    receipts = _receipts(places, unit)
    started(len(receipts))
    for receipt, manifest in receipts:
        earlier = before.get(receipt.review)
        changes = tuple(_changes(places, earlier, receipt)) if earlier else ("first ingested",)
        changed = None
        if with_readings and earlier is not None:
            changed = tuple(_changed_readings(places, unit, earlier, receipt))
        head = manifest.review
        entries.append(HistoryEntry(receipt, head.date.isoformat(), head.bench, changes, changed))
        before[receipt.review] = receipt
        progress(1)
    return entries


def history_frame(places: CataloguePaths, entries: Sequence[HistoryEntry]) -> pl.DataFrame:
    """A row a change, of content, of a reading or of a calibration, in the order of the receipts.

    before, after: the values of a reading that changed.
    """
    import polars as pl

    rows: list[dict[str, object]] = []
    for entry in entries:
        receipt = {"receipt": entry.receipt.number, "review": entry.receipt.review,
                   "date": entry.reviewed}  # fmt: skip
        rows += [{**receipt, "of": "content", "change": change} for change in entry.changes]
        rows += [
            {**receipt, "of": "reading", "change": f"{one.metric}, {one.output}",
             "conditions": one.conditions, "before": one.before, "after": one.after}
            for one in entry.changed_readings or ()
        ]  # fmt: skip
    benches = {entry.bench for entry in entries}
    rows += [{"of": "calibration", "change": line} for line in bench_changes(places, benches)]
    kinds = {"receipt": pl.Int64, "review": pl.String, "date": pl.String, "of": pl.String,
             "change": pl.String, "conditions": pl.String, "before": pl.Float64,
             "after": pl.Float64}  # fmt: skip
    return pl.DataFrame(rows, schema=kinds)


def _receipts(places: CataloguePaths, unit: str) -> list[tuple[Receipt, Manifest]]:
    """Receipts of the reviews that a unit stood in, in order, with their manifests."""
    settings = places.settings
    receipts: list[tuple[Receipt, Manifest]] = []
    known: set[str] = set()
    for receipt in places.ledger.receipts():
        manifest = recall(receipt, places.vault)
        keys = {settings.unit_key(one.key) for one in manifest.unit}
        known |= keys
        if unit in keys:
            receipts.append((receipt, manifest))
    if not receipts:
        fault = unknown_key("unit", unit, known)
        raise UserError("the unit is not known", [fault])
    return receipts


def _changes(places: CataloguePaths, earlier: Receipt, later: Receipt) -> Iterator[str]:
    if earlier.withdrawn is None and later.withdrawn is not None:
        yield f"withdrawn: {later.withdrawn}"
    elif earlier.withdrawn is not None and later.withdrawn is None:
        yield "no longer withdrawn"
    old, new = (
        tomllib.loads(places.vault.read(one.manifest).decode("utf-8-sig"))
        for one in (earlier, later)
    )
    yield from worded_changes(old, new)
    for name in sorted(earlier.files.keys() & later.files.keys()):
        if earlier.files[name] != later.files[name]:
            yield f"{name}: other content"


def _changed_readings(
    places: CataloguePaths, unit: str, earlier: Receipt, later: Receipt
) -> Iterator[ChangedReading]:
    old, new = (_readings(places, unit, one) for one in (earlier, later))
    for place in sorted(old.keys() | new.keys(), key=repr):
        was, now = old.get(place), new.get(place)
        same = was == now or (
            was is not None and now is not None and abs(was - now) <= CHANGED_BY * abs(was)
        )
        if not same:
            yield ChangedReading(place[1], place[3], _conditions(place), was, now)


def _conditions(place: tuple[Any, ...]) -> str:
    stimulus, frequency, load, driven, order, limit = (place[4], *place[5:10])
    parts = [
        stimulus,
        frequency is not None and in_text(frequency, "Hz", 6),
        load is not None and in_text(load, "ohm", 6),
        driven is not None and f"{driven} driven",
        order is not None and f"harmonic {order}",
        limit is not None and f"at {in_text(limit, '%')} distortion",
    ]
    return ", ".join(str(part) for part in parts if part)


def _readings(
    places: CataloguePaths, unit: str, receipt: Receipt
) -> dict[tuple[Any, ...], float | None]:
    """Readings that a receipt gives now, computed aside; none where it is a withdrawal."""
    if receipt.withdrawn is not None:
        return {}
    with scratch_folder(places.root) as folder:
        aside = replace(places, database=folder)
        prepare(aside)
        manifest = recall(receipt, places.vault)
        planned = plan_review(manifest, receipt, places.settings, places.vault)
        with Workers(aside.staged, 1, nothing) as workers:
            _, refused = apart(carry_out(aside, [work_of(aside, planned, None)], workers))
        if refused:
            raise refused[0].error
        with reading(aside.database) as store:
            rows = store.rows(READINGS, [receipt.review, unit])
    return {row[:PLACE]: row[PLACE] for row in rows}
