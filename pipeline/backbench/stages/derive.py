"""Readings across the captures of a review."""

from __future__ import annotations

import json
from typing import Any

from backbench.metrics.across import Derived, Reading, RefusedDerivation, Session
from backbench.metrics.declare import Metric
from backbench.metrics.registry import registry
from backbench.stages.rows import Row, canonical, digest, figure_columns
from backbench.store import Store

# The order decides which of two equal candidates a derivation takes: that of the manifest.
SESSION = """
SELECT reading.*, analysis.calibration_key,
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

CONDITIONS = (
    "stimulus", "frequency_hz", "load_kind", "generator_vrms", "input", "tap", "volume", "driven",
)  # fmt: skip

Given = Derived | RefusedDerivation


def derive_review(store: Store, review_key: str, environment_key: str) -> None:
    """Work out every derived metric of a review. Inside the caller's transaction.

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
    store.append("reading", rows)
    _insert_analyses(store, review_key, environment_key, made_from)


def _session(store: Store, review_key: str) -> tuple[Session, dict[str, str]]:
    """The measured readings of a review, and the analysis that each came from."""
    found = store.frame(SESSION, [review_key]).to_dicts()
    return Session([_reading(row) for row in found]), {
        row["reading_key"]: row["analysis_key"] for row in found
    }


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
    place = [like.unit_key, own["output"], own["against"], like.frequency_hz, limit, detail]
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
        "reason": given.reason if isinstance(given, RefusedDerivation) else None,
        **figure_columns(figure),
    }


def _status(given: Given) -> str:
    if isinstance(given, RefusedDerivation):
        return "rejected"
    return "at_floor" if given.figure.bound else "measured"


def _own_conditions(given: Given) -> Row:
    """Conditions that a derivation may set otherwise than the reading it is like."""
    like = given.like
    if isinstance(given, RefusedDerivation):
        own: dict[str, Any] = dict.fromkeys(("load_ohm", "power_w", "output", "against"))
    else:
        own = {name: getattr(given, name) for name in ("load_ohm", "power_w", "output", "against")}
    return {
        "output": own["output"] or like.output,
        "against": own["against"],
        "load_ohm": like.load_ohm if own["load_ohm"] is None else own["load_ohm"],
        "power_w": own["power_w"],
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
