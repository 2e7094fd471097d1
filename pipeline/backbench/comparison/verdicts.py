"""Readings held against published figures.

Decision rule (JCGM 106:2012, conformance probability for a normal distribution): a figure is met
where the probability that the true value is within the limit is at least 95 %, missed where it
is at most 5 %, and is inconclusive in between. With few degrees of freedom of the uncertainty the
distribution is Student's t. Every output of a unit has to meet it.

The decision holds for the unit on that day: by the uncertainty of the record and the bench. What
the same rule gives for another session, with the spread between sessions in the uncertainty,
stands beside it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from backbench.comparison.another_session import AnotherSession, another_session
from backbench.comparison.promised_conditions import measured_at, promised_at, unlike_promised
from backbench.comparison.promised_power import at_power
from backbench.comparison.rated_power import rated_power
from backbench.documents.input_sorts import LINE, path_in_words
from backbench.metrics.declared_traits import declarations
from backbench.quantities.writing import MOST_DIGITS, measured, quantity, with_minus_signs
from backbench.statistics.conformity import Decision, conformance, outcome_of, size_conformance
from backbench.storage.database import Database
from backbench.test_points.compared_readings import FULL_VOLUME
from backbench.test_points.interpolate import REMARK
from backbench.test_points.points import sort_in_columns

NEARER_ZERO = "nearer zero"
RULE = (
    "JCGM 106: met where the probability of conformity is at least 95 %, missed where at most "
    "5 %; the worse output decides"
)
Outcome = Decision | Literal["measured under other conditions", "not measured"]
NOMINAL = "nominal load"
"""The detail of a reading that names the load it refers to, as "8 ohm"."""


@dataclass(frozen=True)
class Verdict:
    """A published figure and what became of it. value and uncertainty are in `unit`.

    probability: that the unit conforms, where a reading was held against the figure.
    explanation: the conditions measured under, or the reason for there being no verdict.
    again: the uncertainty with that of another session in it, and again_outcome the decision by
    that; None where the value wasn't held against the figure, or has no such uncertainty.
    reading_key: the reading that was held against the figure; "" where none was, or where the value
    was worked out between two steps of a sweep.
    """

    metric: str
    title: str
    unit: str
    side: str
    limit: float
    printed: str
    promised_at: str
    printed_in: str
    outcome: Outcome
    value: float | None = None
    uncertainty: float | None = None
    output: str = ""
    probability: float | None = None
    status: str = ""
    explanation: str = ""
    better: str = ""
    again: AnotherSession | None = None
    again_outcome: Outcome | None = None
    reading_key: str = ""
    bound: str | None = None

    @property
    def limit_text(self) -> str:
        """The limit as printed, as it is shown."""
        return with_minus_signs(self.printed)

    @property
    def decided(self) -> bool:
        """Whether a reading under the promised conditions was held against the figure."""
        return self.outcome in ORDER

    @property
    def again_text(self) -> str:
        """In words what another session would give; "" where there is nothing to say."""
        if self.again is None:
            return ""
        changed = self.again_outcome not in (None, self.outcome)
        verdict = f": {self.again_outcome}" if changed else ""
        return f"{self.again.text(self.unit)}{verdict}"


def judge(figure: Mapping[str, Any], readings: Iterable[Mapping[str, Any]]) -> Verdict:
    """The verdict on one published figure from the unit's readings of its metric.

    figure: a row of table published with the metric's title and unit. readings: rows of table
    reading of one unit and review, in the metric's unit.
    """
    rows = [_as_referred(row) for row in readings]
    valued = [row for row in rows if row["value"] is not None]
    if not valued:
        refused = sorted({str(row["reason"]) for row in rows})
        return _verdict(figure, "not measured", explanation="; ".join(refused))
    unlike = [(list(unlike_promised(figure, row)), row) for row in valued]
    fitting = [row for reasons, row in unlike if not reasons]
    if not fitting:
        reasons, nearest = min(unlike, key=lambda one: (len(one[0]), one[1]["output"]))
        explanation = "; ".join(reasons)
        return _verdict(figure, "measured under other conditions", nearest, explanation=explanation)
    measured_rows = _as_usual([row for row in fitting if row["status"] != "entered"] or fitting)
    power = _promised_power(figure)
    taken = at_power(measured_rows, power) if power else measured_rows
    if not taken:
        return _not_at(figure, measured_rows, power or 0.0)
    return _worst([_held(figure, row) for row in _nearest(figure, taken)])


def _as_usual(rows: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Of each output the readings that a promise means where it doesn't say otherwise: through a
    line input, the volume turned up, all outputs driven."""

    def unusual(row: Mapping[str, Any]) -> tuple[bool, bool, bool]:
        return (
            row.get("input_sort", LINE) != LINE, bool(row.get("turned_down")),
            row["driven"] is not None,
        )  # fmt: skip

    least: dict[str, tuple[bool, bool, bool]] = {}
    for row in rows:
        least[row["output"]] = min(unusual(row), least.get(row["output"], (True, True, True)))
    return [row for row in rows if unusual(row) == least[row["output"]]]


def _promised_power(figure: Mapping[str, Any]) -> float | None:
    """The power that a reading has to be taken at; None where the figure states none."""
    if declarations().traits(figure["metric"]).is_power or figure["metric"] in _limits():
        return None
    return None if figure["power_w"] is None else float(figure["power_w"])


def _limits() -> tuple[str, ...]:
    """Metrics that are a greatest power: a promised power is the limit and no condition."""
    return declarations().having(lambda traits: traits.point_family == "greatest power")


def _not_at(
    figure: Mapping[str, Any], rows: Sequence[Mapping[str, Any]], power_w: float
) -> Verdict:
    with_power = [row for row in rows if row["power_w"]]
    wanted = quantity(power_w, "W", MOST_DIGITS)
    if not with_power:
        explanation = f"power not stated, {wanted} promised"
        return _verdict(figure, "measured under other conditions", rows[0], explanation=explanation)
    nearest = min(with_power, key=lambda row: abs(math.log(row["power_w"] / power_w)))
    at = quantity(nearest["power_w"], "W", MOST_DIGITS)
    explanation = f"not measured at {wanted} (nearest: {at})"
    return _verdict(figure, "measured under other conditions", nearest, explanation=explanation)


def _worst(held: Sequence[Verdict]) -> Verdict:
    """The worst of the outputs' verdicts, with what the other outputs have beside it."""
    worst, *others = sorted(held, key=_severity)
    others_text = [
        f"{v.output}: {measured(v.value, v.uncertainty, v.unit)}" for v in others if v.output
    ]
    return replace(worst, explanation="; ".join([worst.explanation, *others_text]))


def _as_referred(row: Mapping[str, Any]) -> Mapping[str, Any]:
    """A reading that is given for a nominal load (damping factor) stands under that load."""
    nominal = str(json.loads(row["detail"]).get(NOMINAL, "")).split(" ")[0]
    return {**row, "load_ohm": float(nominal)} if nominal else row


ORDER: tuple[Outcome, ...] = ("fails", "inconclusive", "meets")


def _severity(verdict: Verdict) -> tuple[int, float, str]:
    """Worst first: by outcome, then by how little of the limit is left."""
    size = verdict.value or 0.0
    size = abs(size) if verdict.better == NEARER_ZERO else size
    left = verdict.limit - size if verdict.side == "at most" else size - verdict.limit
    return ORDER.index(verdict.outcome), left, verdict.output


def _held(figure: Mapping[str, Any], row: Mapping[str, Any]) -> Verdict:
    if row["uncertainty"] is None:
        explanation = "the reading was entered without an uncertainty"
        return _verdict(figure, "inconclusive", row, explanation=explanation)
    p = _conformance(figure, row)
    again = another_session(row)
    explanation = "; ".join(filter(None, _taken_under(row)))
    made = _verdict(figure, outcome_of(p), row, p[0] if p[0] == p[1] else None, explanation)
    if again is None:
        return made
    wider = {**row, "uncertainty": again.uncertainty, "dof": again.dof}
    return replace(made, again=again, again_outcome=outcome_of(_conformance(figure, wider)))


def _taken_under(row: Mapping[str, Any]) -> Iterator[str]:
    """What a reader has to know of a reading: its conditions, and whether it is a bound."""
    reason = str(row["reason"] or "")
    yield ", ".join(filter(None, (measured_at(row), reason if reason.startswith(REMARK) else "")))
    if row.get("input_sort", LINE) != LINE:
        yield path_in_words(row["input_sort"])
    if row["driven"]:
        yield f"only {row['driven']} driven"
    if row["bound"]:
        yield f"the true value is at {'most' if row['bound'] == 'upper' else 'least'} this"


def _conformance(figure: Mapping[str, Any], row: Mapping[str, Any]) -> tuple[float, float]:
    """By the size of a quantity that is best at zero: -300 mV is not at most 50 mV."""
    value, u, limit = row["value"], row["uncertainty"], figure["limit_value"]
    if figure.get("better") != NEARER_ZERO:
        return conformance(value, u, limit, figure["side"], row["bound"], row["dof"])
    if row["bound"]:
        return conformance(abs(value), u, abs(limit), figure["side"], row["bound"], row["dof"])
    return size_conformance(value, u, abs(limit), figure["side"], row["dof"])


def _nearest(
    figure: Mapping[str, Any], rows: list[Mapping[str, Any]]
) -> Iterator[Mapping[str, Any]]:
    """For each output, the reading nearest to the promised conditions, 1 kHz by default."""

    def distance(row: Mapping[str, Any]) -> tuple[float, str]:
        total = 0.0
        for name in ("frequency_hz", "power_w", "load_ohm"):
            wanted = figure[name] or (1000.0 if name == "frequency_hz" else None)
            if wanted and row[name]:
                total += abs(math.log(row[name] / wanted))
        return total, str(row["reading_key"])

    for output in sorted({str(row["output"]) for row in rows}):
        yield min((row for row in rows if row["output"] == output), key=distance)


def _verdict(
    figure: Mapping[str, Any],
    outcome: Outcome,
    row: Mapping[str, Any] | None = None,
    probability: float | None = None,
    explanation: str = "",
) -> Verdict:
    reading = row or {"value": None, "uncertainty": None, "output": "", "status": ""}
    return Verdict(
        metric=figure["metric"],
        title=figure["title"],
        unit=figure["unit"],
        side=figure["side"],
        limit=figure["limit_value"],
        printed=f"{figure['side']} {figure['printed']}",
        promised_at=promised_at(figure),
        printed_in=figure["printed_in"],
        outcome=outcome,
        value=reading["value"],
        uncertainty=reading["uncertainty"],
        output=reading["output"],
        probability=probability,
        status=reading["status"],
        explanation=explanation,
        better=figure.get("better", ""),
        reading_key=reading.get("reading_key") or "",
        bound=reading.get("bound"),
    )


READINGS = """
WITH asked AS (SELECT unnest($reviews) AS review_key, unnest($units) AS unit_key),
powers AS (
    SELECT review_key, analysis_key, output, generator_vrms, min(uncertainty / value) AS power_u
    FROM reading SEMI JOIN asked USING (review_key)
    WHERE value > 0 AND list_contains($powers, metric)
    GROUP BY ALL
),
taken AS (
    SELECT review_key, analysis_capture.analysis_key,
           bool_or(lower(trim(controls)) NOT IN ('flat', 'defeated', 'bypassed')) AS shaped,
           if(count(DISTINCT supply_vrms) = 1, min(supply_vrms), NULL) AS supply_vrms
    FROM analysis_capture JOIN capture USING (review_key, sha256)
    SEMI JOIN asked USING (review_key)
    GROUP BY ALL
)
SELECT
    reading.*, metric.unit, powers.power_u, spread, relative, is_default,
    session_spread.dof AS session_dof, taken.shaped, taken.supply_vrms,
    {input_sort} AS input_sort,
    NOT coalesce(regexp_matches(lower(reading.volume), $full), true) AS turned_down
FROM reading
SEMI JOIN asked USING (review_key, unit_key)
JOIN metric USING (metric, method_version)
LEFT JOIN session_spread USING (metric)
LEFT JOIN powers ON powers.review_key = reading.review_key
    AND powers.analysis_key = reading.analysis_key AND powers.output = reading.output
    AND powers.generator_vrms IS NOT DISTINCT FROM reading.generator_vrms
LEFT JOIN taken ON taken.review_key = reading.review_key
    AND taken.analysis_key = reading.analysis_key
WHERE order_n IS NULL
  AND list_contains($metrics, metric)
ORDER BY reading_key
"""

FIGURES = """
SELECT published.*, coalesce(metric.title, metric) AS title, coalesce(metric.unit, '') AS unit,
       coalesce(metric.better, '') AS better
FROM published LEFT JOIN metric USING (metric)
SEMI JOIN (SELECT unnest($reviews) AS review_key, unnest($units) AS unit_key) AS asked
    USING (review_key, unit_key)
ORDER BY position
"""


def verdicts(store: Database, unit_key: str, review_key: str | None = None) -> list[Verdict]:
    """Verdicts on every published figure of a unit, from one review (its newest by default).

    A rated power is a promise too, where no published figure is of a power.
    """
    review_key = review_key or newest_review(store, unit_key)
    return verdicts_of(store, {unit_key: review_key})[unit_key]


def verdicts_of(store: Database, review_of: Mapping[str, str]) -> dict[str, list[Verdict]]:
    """The same of several units, each in the review that is given for it."""
    keys = {"reviews": list(review_of.values()), "units": list(review_of)}
    figures: dict[str, list[Mapping[str, Any]]] = {unit: [] for unit in review_of}
    for figure in store.records(FIGURES, keys):
        figures[figure["unit_key"]].append(figure)
    for unit, own in figures.items():
        if not any(figure["metric"] in _limits() for figure in own):
            own.extend(rated_power(store, {"review": review_of[unit], "unit": unit}))
    metrics = {figure["metric"] for own in figures.values() for figure in own}
    readings: dict[tuple[str, str], list[Mapping[str, Any]]] = {}
    for row in _readings(store, review_of, metrics):
        readings.setdefault((row["unit_key"], row["metric"]), []).append(row)
    return {
        unit: [judge(figure, readings.get((unit, figure["metric"]), [])) for figure in own]
        for unit, own in figures.items()
    }


def judged_readings(
    store: Database, unit_key: str, review_key: str, metrics: Collection[str]
) -> list[Mapping[str, Any]]:
    """The readings of some metrics of a unit in a review, as `judge` takes them."""
    return _readings(store, {unit_key: review_key}, metrics)


def _readings(
    store: Database, review_of: Mapping[str, str], metrics: Collection[str]
) -> list[Mapping[str, Any]]:
    if not metrics:
        return []
    return list(store.records(READINGS.format(input_sort=sort_in_columns("reading.")), {
        "reviews": list(review_of.values()), "units": list(review_of), "full": FULL_VOLUME,
        "metrics": sorted(metrics),
        "powers": [*declarations().having(lambda traits: traits.own_stimulus == "power")],
    }))  # fmt: skip


NEWEST_REVIEW = "SELECT review_key FROM unit WHERE unit_key = $unit"


def newest_review(store: Database, unit_key: str) -> str:
    """The key of a unit's newest review; "" where the unit isn't there."""
    rows = store.rows(NEWEST_REVIEW, {"unit": unit_key})
    return str(rows[0][0]) if rows else ""
