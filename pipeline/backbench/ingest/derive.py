"""Readings across the captures of each review."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from backbench.ingest.reading_rows import Row, canonical, digest, figure_columns
from backbench.metrics.declaration import Curve, CurveData, Metric
from backbench.metrics.registry import registry
from backbench.metrics.session import (
    CurveReading,
    Derived,
    DerivedCurve,
    Promised,
    Reading,
    RefusedDerivation,
    Session,
)
from backbench.metrics.traits import CurveRole
from backbench.storage.database import Database
from backbench.test_points.scope import chosen_reviews

if TYPE_CHECKING:
    import polars as pl

OWN_COLUMNS = {
    "key": "reading.reading_key", "order": "reading.order_n",
    "calibration_key": "analysis.calibration_key", "controls": "capture.controls",
    "minutes_on": "capture.minutes_on",
    "load_uncertainty": "bench.load_uncertainty_percent / 100",
    **{
        name: f"TRY_CAST((capture.stimulus_json ->> '$.{name}') AS DOUBLE)"
        for name in ("full_scale_db", "through_ohm", "resistor_percent")
    },
    "pre_emphasis": "coalesce((capture.stimulus_json ->> '$.pre_emphasis') = 'true', false)",
}  # fmt: skip
FIELDS = (*Reading.__dataclass_fields__,)
COLUMNS = [OWN_COLUMNS.get(name, f"reading.{name}") for name in FIELDS]
DETAIL = FIELDS.index("detail")

# The order decides which of two equal candidates a derivation takes: that of the manifest.
SESSION = f"""
SELECT review_key, {", ".join(COLUMNS)}
FROM reading
JOIN analysis USING (review_key, analysis_key)
JOIN capture USING (review_key, analysis_key)
JOIN review USING (review_key)
JOIN bench USING (bench_key)
WHERE {{chosen}} AND reading.unit_key <> '' AND reading.status <> 'entered'
ORDER BY review_key, capture.position, reading.unit_key, reading.output, reading.metric,
    reading.reading_key
"""

ORIGINALS = """
SELECT review_key, analysis_key, list(sha256 ORDER BY sha256)
FROM analysis_capture WHERE {chosen} GROUP BY ALL
"""

RESPONSES = """
SELECT curve.* FROM curve JOIN capture USING (review_key, analysis_key)
WHERE {chosen} AND list_contains($curves, curve.curve) AND curve.unit_key <> ''
ORDER BY review_key, capture.position, curve.unit_key, curve.output
"""

PROMISED = "SELECT * FROM published WHERE {chosen} ORDER BY review_key, unit_key, position"

UNITS = "SELECT review_key, unit_key, kind, rated_power_w FROM appearance WHERE {chosen}"

CONDITIONS = (
    "stimulus", "load_kind", "generator_vrms", "input", "tap", "volume", "driven",
)  # fmt: skip

Given = Derived | RefusedDerivation


@dataclass
class Worked:
    """Rows worked out across captures; made_from: captures' analyses by review and analysis."""

    readings: list[Row] = field(default_factory=list)
    curves: list[Row] = field(default_factory=list)
    made_from: dict[tuple[str, str], set[str]] = field(default_factory=dict)


def derive_reviews(store: Database, review_keys: Sequence[str], environment_key: str) -> None:
    """Work out every derived metric and curve of some reviews. Inside the caller's transaction.

    The reviews' captures and readings must be in place, and no derived reading among them.
    """
    worked = Worked()
    for key, session in _sessions(store, review_keys):
        _derive(key, session, worked)
    store.append("reading", worked.readings)
    store.append("curve", worked.curves)
    _insert_analyses(store, review_keys, environment_key, worked.made_from)


def session_of_review(store: Database, review_key: str) -> Session:
    """What a review's derivations are made from; empty where it isn't in the catalogue."""
    ((_, session),) = _sessions(store, [review_key])
    return session


def _derive(review_key: str, session: Session, worked: Worked) -> None:
    for metric in registry().derivations():
        assert metric.derive is not None
        for given in metric.derive(session):
            worked.readings.append(_row(metric, given, review_key))
            _trace(worked, worked.readings[-1], given)
    for curve in registry().curve_derivations():
        assert curve.derive is not None
        for drawn in curve.derive(session):
            worked.curves.append(_curve_row(curve, drawn, review_key))
            _trace(worked, worked.curves[-1], drawn)


def _trace(worked: Worked, row: Row, given: Given | DerivedCurve) -> None:
    made = worked.made_from.setdefault((row["review_key"], row["analysis_key"]), set())
    made.update(reading.analysis_key for reading in given.made_from)


def _sessions(store: Database, review_keys: Sequence[str]) -> Iterator[tuple[str, Session]]:
    """The measured readings of each review, with what else its derivations may ask for.

    Rows are asked for together and unfolded one review at a time: as objects they take many times
    the memory.
    """
    roles = registry().curve_roles()
    readings = _by_review(store, SESSION, review_keys)
    curves = _by_review(store, RESPONSES, review_keys, curves=[*roles])
    promised, units = (_by_review(store, sql, review_keys) for sql in (PROMISED, UNITS))
    for key in review_keys:
        of_units = _dicts(units, key)
        measured = _readings(readings.get(key))
        drawn = _curves(_dicts(curves, key), measured)
        yield key, Session(
            measured, _levels(drawn, roles),
            [_promised(row) for row in _dicts(promised, key)],
            {row["unit_key"]: row["rated_power_w"] for row in of_units
             if row["rated_power_w"] is not None},
            [c for c in drawn if roles[c.curve] == "phase over frequency"],
            {row["unit_key"]: row["kind"] for row in of_units},
        )  # fmt: skip


def _by_review(
    store: Database, sql: str, review_keys: Sequence[str], **values: object
) -> dict[str, pl.DataFrame]:
    """The rows of each review that has any, in their order."""
    chosen, keys = chosen_reviews(review_keys)
    frame = store.frame(sql.format(chosen=chosen), {**values, **keys})
    parts = frame.partition_by("review_key", maintain_order=True)
    return {part["review_key"][0]: part for part in parts}


def _dicts(parts: Mapping[str, pl.DataFrame], review_key: str) -> list[Row]:
    return parts[review_key].to_dicts() if review_key in parts else []


def _readings(rows: pl.DataFrame | None) -> list[Reading]:
    if rows is None:
        return []
    details: dict[str, dict[str, str]] = {}
    readings = []
    for _, *columns in rows.rows():
        text = columns[DETAIL]
        if text not in details:
            details[text] = json.loads(text)
        columns[DETAIL] = details[text]
        readings.append(_reading(columns))
    return readings


def _reading(columns: Sequence[Any]) -> Reading:
    """A reading of all its columns, set at once: one by one they take ten times as long."""
    reading = object.__new__(Reading)
    vars(reading).update(zip(FIELDS, columns, strict=True))
    return reading


def _curves(rows: Sequence[Row], readings: list[Reading]) -> list[CurveReading]:
    """Responses and phases, each beside a reading that carries its capture's conditions."""
    like = {(r.analysis_key, r.unit_key, r.output): r for r in reversed(readings)}
    curves = []
    for row in rows:
        place = (row["analysis_key"], row["unit_key"], row["output"])
        if place in like:
            u = None if row["uncertainty"] is None else np.array(row["uncertainty"])
            data = CurveData(np.array(row["x"]), np.array(row["y"]), u)
            curves.append(CurveReading(row["curve"], like[place], data))
    return curves


def _levels(drawn: list[CurveReading], roles: dict[str, CurveRole]) -> list[CurveReading]:
    """Responses, each with what it is unsure by from below its sweep where that is known."""
    below: dict[int, dict[str, CurveData]] = {}
    for c in drawn:
        if roles[c.curve] == "level unsure from below the sweep":
            below.setdefault(id(c.like), {})[c.curve] = c.data
    return [
        replace(c, below=below.get(id(c.like), {}))
        for c in drawn
        if roles[c.curve] == "level over frequency"
    ]


def _promised(row: Row) -> Promised:
    return Promised(**{name: row[name] for name in Promised.__dataclass_fields__})


def _row(metric: Metric, given: Given, review_key: str) -> Row:
    like = given.like
    figure = given.figure if isinstance(given, Derived) else None
    detail = canonical(figure.detail if figure else given.detail)  # type: ignore[union-attr]
    limit = figure.limit_percent if figure else given.limit_percent  # type: ignore[union-attr]
    keys = sorted(reading.key for reading in given.made_from)
    own = _own_conditions(given)
    place = [like.unit_key, own["output"], own["against"], own["frequency_hz"], limit, detail]
    conditions = {name: getattr(like, name) for name in CONDITIONS}
    return {
        **conditions,
        **own,
        "reading_key": digest(metric.name, metric.version, keys, place),
        "review_key": review_key,
        "analysis_key": digest("across captures", keys),
        "unit_key": like.unit_key,
        "metric": metric.name,
        "method_version": metric.version,
        "order_n": figure.order if figure else None,
        "limit_percent": limit,
        "detail": detail,
        "status": _status(given),
        "reason": figure.remark if figure else given.reason,  # type: ignore[union-attr]
        **figure_columns(figure),
    }


def _status(given: Given) -> str:
    if isinstance(given, RefusedDerivation):
        return "rejected"
    return "at_floor" if given.figure.bound else "measured"


def _curve_row(curve: Curve, drawn: DerivedCurve, review_key: str) -> Row:
    like, data = drawn.like, drawn.data
    return {
        "review_key": review_key,
        "analysis_key": digest("across captures", sorted(r.key for r in drawn.made_from)),
        "unit_key": like.unit_key, "output": like.output,
        "curve": curve.name, "method_version": curve.version,
        "frequency_hz": None, "power_w": None,
        "load_ohm": like.load_ohm, "load_kind": like.load_kind,
        "x_unit": curve.x_unit, "y_unit": curve.y_unit,
        "x": data.x.tolist(), "y": data.y.tolist(),
        "uncertainty": None if data.uncertainty is None else data.uncertainty.tolist(),
    }  # fmt: skip


def _own_conditions(given: Given) -> Row:
    """Conditions that a derivation may set otherwise than the reading it is like."""
    like = given.like
    own_hz = given.figure.frequency_hz if isinstance(given, Derived) else given.frequency_hz
    if isinstance(given, RefusedDerivation):
        own: dict[str, Any] = dict.fromkeys(("load_ohm", "power_w", "output", "against"))
    else:
        own = {name: getattr(given, name) for name in ("load_ohm", "power_w", "output", "against")}
    return {
        "output": own["output"] or like.output,
        "against": own["against"],
        "load_ohm": like.load_ohm if own["load_ohm"] is None else own["load_ohm"],
        "power_w": own["power_w"],
        "frequency_hz": like.frequency_hz if own_hz is None else own_hz,
    }


def _insert_analyses(
    store: Database,
    review_keys: Sequence[str],
    environment_key: str,
    made_from: dict[tuple[str, str], set[str]],
) -> None:
    chosen, values = chosen_reviews(review_keys)
    rows = store.rows(ORIGINALS.format(chosen=chosen), values)
    originals = {(review, analysis): kept for review, analysis, kept in rows}
    store.append("analysis", [
        {"analysis_key": key, "review_key": review, "environment_key": environment_key}
        for review, key in made_from
    ])  # fmt: skip
    store.append("analysis_capture", [
        {"analysis_key": key, "review_key": review, "sha256": sha256}
        for (review, key), analyses in made_from.items()
        for sha256 in sorted({sha for a in analyses for sha in originals.get((review, a), ())})
    ])  # fmt: skip
