"""Readings across the captures of a review."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from backbench.metrics.across import (
    CurveReading,
    Derived,
    DerivedCurve,
    Promised,
    Reading,
    RefusedDerivation,
    Session,
)
from backbench.metrics.declare import Curve, CurveData, Metric
from backbench.metrics.registry import registry
from backbench.stages.rows import Row, canonical, digest, figure_columns
from backbench.store import Store

# The order decides which of two equal candidates a derivation takes: that of the manifest.
SESSION = """
SELECT reading.*, analysis.calibration_key, capture.controls, capture.minutes_on,
    bench.load_uncertainty_percent / 100 AS load_uncertainty
FROM reading
JOIN analysis USING (review_key, analysis_key)
JOIN capture USING (review_key, analysis_key)
JOIN review USING (review_key)
JOIN bench USING (bench_key)
WHERE reading.review_key = ? AND reading.unit_key <> '' AND reading.status <> 'entered'
ORDER BY capture.position, reading.unit_key, reading.output, reading.metric, reading.reading_key
"""

ORIGINALS = """
SELECT analysis_key, list(sha256 ORDER BY sha256)
FROM analysis_capture WHERE review_key = ? GROUP BY analysis_key
"""

RESPONSES = """
SELECT curve.* FROM curve JOIN capture USING (review_key, analysis_key)
WHERE curve.review_key = ? AND curve.curve = 'response' AND curve.unit_key <> ''
ORDER BY capture.position, curve.unit_key, curve.output
"""

PROMISED = "SELECT * FROM published WHERE review_key = ? ORDER BY unit_key, position"

RATED = """
SELECT unit_key, rated_power_w FROM appearance
WHERE review_key = ? AND rated_power_w IS NOT NULL
"""

CONDITIONS = (
    "stimulus", "load_kind", "generator_vrms", "input", "tap", "volume", "driven",
)  # fmt: skip

Given = Derived | RefusedDerivation


def derive_review(store: Store, review_key: str, environment_key: str) -> None:
    """Work out every derived metric and curve of a review. Inside the caller's transaction.

    The review's captures and readings must be in place, and no derived reading among them.
    """
    session, analyses = _session(store, review_key)
    rows: list[Row] = []
    made_from: dict[str, set[str]] = {}
    for metric in registry().derivations():
        assert metric.derive is not None
        for given in metric.derive(session):
            row = _row(metric, given, review_key)
            rows.append(row)
            sources = {analyses[reading.key] for reading in given.made_from}
            made_from.setdefault(row["analysis_key"], set()).update(sources)
    curves: list[Row] = []
    for curve in registry().curve_derivations():
        assert curve.derive is not None
        for drawn in curve.derive(session):
            row = _curve_row(curve, drawn, review_key)
            curves.append(row)
            sources = {analyses[reading.key] for reading in drawn.made_from}
            made_from.setdefault(row["analysis_key"], set()).update(sources)
    store.append("reading", rows)
    store.append("curve", curves)
    _insert_analyses(store, review_key, environment_key, made_from)


def _session(store: Store, review_key: str) -> tuple[Session, dict[str, str]]:
    """The measured readings of a review, and the analysis that each came from."""
    found = store.frame(SESSION, [review_key]).to_dicts()
    readings = [_reading(row) for row in found]
    session = Session(
        readings, _curves(store, review_key, readings), _promised(store, review_key),
        dict(store.rows(RATED, [review_key])),
    )  # fmt: skip
    return session, {row["reading_key"]: row["analysis_key"] for row in found}


def _curves(store: Store, review_key: str, readings: list[Reading]) -> list[CurveReading]:
    """The responses, each beside a reading that carries the conditions of its capture."""
    like = {(r.analysis_key, r.unit_key, r.output): r for r in reversed(readings)}
    found = []
    for row in store.frame(RESPONSES, [review_key]).to_dicts():
        place = (row["analysis_key"], row["unit_key"], row["output"])
        if place in like:
            u = None if row["uncertainty"] is None else np.array(row["uncertainty"])
            data = CurveData(np.array(row["x"]), np.array(row["y"]), u)
            found.append(CurveReading(row["curve"], like[place], data))
    return found


def _promised(store: Store, review_key: str) -> list[Promised]:
    names = Promised.__dataclass_fields__
    rows = store.frame(PROMISED, [review_key]).to_dicts()
    return [Promised(**{name: row[name] for name in names}) for row in rows]


def _reading(row: Row) -> Reading:
    same = {name: row[name] for name in Reading.__dataclass_fields__ if name in row}
    return Reading(
        **{**same, "detail": json.loads(row["detail"])}, key=row["reading_key"],
        order=row["order_n"],
    )  # fmt: skip


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
    store: Store, review_key: str, environment_key: str, made_from: dict[str, set[str]]
) -> None:
    originals = dict(store.rows(ORIGINALS, [review_key]))
    store.append(
        "analysis",
        [
            {
                "analysis_key": key, "review_key": review_key,
                "environment_key": environment_key,
            }
            for key in made_from
        ],
    )  # fmt: skip
    store.append(
        "analysis_capture",
        [
            {"analysis_key": key, "review_key": review_key, "sha256": sha256}
            for key, analyses in made_from.items()
            for sha256 in sorted({sha for a in analyses for sha in originals.get(a, ())})
        ],
    )
