"""A measured unit beside what makers promised of others of its class."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from backbench.comparison.verdicts import Verdict, judge, judged_readings, newest_review
from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.kinds import kind_of_unit, unit_kinds
from backbench.documents.specifications import Specification, limit_columns
from backbench.errors import Fault, UserError, did_you_mean
from backbench.metrics.declared_metric import Declared
from backbench.metrics.declared_traits import declarations
from backbench.metrics.metric_names import unknown_metric
from backbench.quantities.faults import UnreadableQuantity
from backbench.querying.saved_queries import not_found
from backbench.storage.database import Database

OF_OTHERS = """
SELECT published.* EXCLUDE (review_key, position), unit.label, unit.kind, unit.technology,
       metric.title, metric.unit, metric.better
FROM published
JOIN (SELECT unit_key, review_key, maker || ' ' || model AS label, kind, technology
      FROM unit) AS unit USING (unit_key, review_key)
JOIN metric USING (metric)
WHERE unit_key <> $unit
ORDER BY label, unit_key, published.position
"""
UNIT = "SELECT kind, technology, maker || ' ' || model AS label FROM unit WHERE unit_key = $unit"


@dataclass(frozen=True)
class ClassPromise:
    """What was promised of another model, and what the unit makes of it.

    model: maker and model. unit_key: of the unit whose review states it; "" where it stands in the
    settings. technology: "" where it isn't stated.
    """

    model: str
    unit_key: str
    technology: str
    verdict: Verdict


def class_promises(
    store: Database, library: Sequence[Specification], unit_key: str
) -> list[ClassPromise]:
    """Each promise of another model of the unit's class, held against the unit's newest review.

    Those that can be decided first, by metric and limit. Raises UserError for a unit that isn't
    there, and for faults of the library.
    """
    kind, _ = _kind_of(store, unit_key)
    group = kind_of_unit(kind).group
    figures = [*_of_units(store, unit_key), *_of_library(library)]
    alike = [f for f in figures if kind_of_unit(f["kind"]).group == group]
    review = newest_review(store, unit_key)
    readings = judged_readings(store, unit_key, review, {f["metric"] for f in alike})
    promises = [
        ClassPromise(
            f["label"], f["unit_key"], f["technology"] or "",
            judge(f, [row for row in readings if row["metric"] == f["metric"]]),
        )
        for f in alike
    ]  # fmt: skip
    return sorted(_once(promises), key=_order)


def _once(promises: Sequence[ClassPromise]) -> list[ClassPromise]:
    """Without what another unit of the same model was promised in the same words."""
    return list(
        {
            (p.model, p.verdict.metric, p.verdict.side, p.verdict.limit, p.verdict.promised_at): p
            for p in reversed(promises)
        }.values()
    )


def _order(promise: ClassPromise) -> tuple[object, ...]:
    v = promise.verdict
    sign = 1 if v.side == "at most" else -1
    return not v.decided, v.metric, v.promised_at, sign * v.limit, promise.model


def _kind_of(store: Database, unit_key: str) -> tuple[str, str]:
    rows = store.rows(UNIT, {"unit": unit_key})
    if not rows:
        known = [str(key) for (key,) in store.rows("SELECT unit_key FROM unit")]
        raise UserError("no such unit", [not_found("unit", unit_key, known, "unit")])
    return str(rows[0][0]), str(rows[0][2])


def _of_units(store: Database, unit_key: str) -> Iterator[Mapping[str, Any]]:
    yield from store.frame(OF_OTHERS, {"unit": unit_key}).iter_rows(named=True)


def _of_library(library: Sequence[Specification]) -> list[Mapping[str, Any]]:
    """Figures of the settings as rows. Raises UserError with every fault."""
    rows: list[Mapping[str, Any]] = []
    faults: list[Fault] = []
    for n, one in enumerate(library, start=1):
        where = f"{SETTINGS_NAME}, specification {n}"
        if one.kind not in unit_kinds():
            remedy = did_you_mean(one.kind, unit_kinds(), "or declare it with [kind]")
            faults.append(Fault(f"{where}, kind", repr(one.kind), "a kind of unit", remedy))
        for m, figure in enumerate(one.published, start=1):
            place = f"{where}, published {m}"
            metric = declarations().metrics.get(figure.metric)
            if metric is None:
                faults.append(unknown_metric(place, figure.metric))
                continue
            try:
                limits = limit_columns(figure, metric.unit)
            except UnreadableQuantity as error:
                expected = f"a number with a unit that turns into {metric.unit!r}"
                faults.append(error.fault(place, expected))
                continue
            rows.append({**limits, **_of_model(one, metric)})
    if faults:
        raise UserError(f"{SETTINGS_NAME} has specifications that can't be used", faults)
    return rows


def _of_model(one: Specification, metric: Declared) -> Mapping[str, Any]:
    return {
        "label": f"{one.maker} {one.model}", "unit_key": "", "kind": one.kind,
        "technology": one.technology, "title": metric.title, "unit": metric.unit,
        "better": metric.better,
    }  # fmt: skip


def frame_of_promises(promises: Sequence[ClassPromise]) -> pl.DataFrame:
    """A row a promise."""
    rows = [
        {
            "model": p.model, "unit_key": p.unit_key, "technology": p.technology,
            "metric": p.verdict.metric, "title": p.verdict.title, "side": p.verdict.side,
            "limit": p.verdict.limit, "unit": p.verdict.unit, "printed": p.verdict.printed,
            "promised_at": p.verdict.promised_at, "printed_in": p.verdict.printed_in,
            "value": p.verdict.value, "uncertainty": p.verdict.uncertainty,
            "bound": p.verdict.bound, "output": p.verdict.output, "outcome": p.verdict.outcome,
            "explanation": p.verdict.explanation,
        }
        for p in promises
    ]  # fmt: skip
    return pl.DataFrame(rows, infer_schema_length=None)
