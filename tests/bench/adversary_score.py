"""How figures stand beside the truth, and the tables that tell it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple

import numpy as np
from scipy.stats import t as student

from backbench.metrics.declaration import MeasuredValue
from backbench.metrics.findings import Finding
from backbench.metrics.warnings import SEPARATOR
from bench.adversary_draws import Draw
from bench.adversary_truth import NOTHING, Truth

ORDINARY = ("hum and hiss are alike", "dominates", "no phase: the generator")
"""Remarks that describe a sound figure rather than warn of it."""
ROUNDING = 1e-9
FAR = 5.0
BOUND_MARGIN = 0.02
"""A bound is on the wrong side where the truth lies beyond it by more than this, relative (dB: a
sixth of one), and by more than 3 of its standard uncertainties: bounds hold in 99 of 100."""


class Outcome(NamedTuple):
    """What one figure with a known truth came to.

    state: "measured", "remarked", "bound", "refused" or "not applicable". score: error in
    standard uncertainties, 0 inside the truth's range.
    """

    key: str
    kind: str
    faults: tuple[str, ...]
    metric: str
    state: str
    score: float
    held: bool
    value: float
    truth: Truth
    text: str


def outcomes(drawn: Draw) -> list[Outcome]:
    """Of every metric whose truth is known; a capture refused whole counts for each of them."""
    try:
        findings = drawn.findings()
    except Exception as error:  # a defect counts as what it is
        return [Outcome(drawn.key, drawn.kind, drawn.faults, "crash", "measured", math.inf, False,
                        math.nan, NOTHING, repr(error))]  # fmt: skip
    return list(_outcomes(drawn, findings))


def _outcomes(drawn: Draw, findings: list[Finding]) -> Iterator[Outcome]:
    for finding in findings:
        name = _key(finding, drawn.truth)
        if name is None:
            continue
        common = (drawn.key, drawn.kind, drawn.faults, name.split(" to ")[0].split(" at ")[0])
        figure, truth = finding.figure, drawn.truth[name]
        if figure is None:
            state = "refused" if finding.status == "rejected" else "not applicable"
            yield Outcome(*common, state, 0.0, True, math.nan, truth, finding.reason or "")
        elif figure.bound:
            held = _on_its_side(figure, truth)
            yield Outcome(*common, "bound", 0.0, held, figure.value, truth, figure.remark or "")
        else:
            yield _measured(common, figure, truth)


def _measured(
    common: tuple[str, str, tuple[str, ...], str], figure: MeasuredValue, truth: Truth
) -> Outcome:
    remarks = (figure.remark or "").split(SEPARATOR)
    warned = any(one and not any(text in one for text in ORDINARY) for one in remarks)
    score = math.inf if truth is NOTHING else _score(figure, truth, common[-1])
    held = score <= student.ppf(0.975, figure.dof)
    state = "remarked" if warned else "measured"
    text = f"u {figure.uncertainty:.3g} {figure.remark or ''}"
    return Outcome(*common, state, score, bool(held), figure.value, truth, text)


def _score(figure: MeasuredValue, truth: Truth, name: str) -> float:
    """Error in standard uncertainties. That of a line in dB is one of its amplitude: near the
    noise decibels of an amplitude run off to minus infinity."""
    value, u, whole = figure.value, figure.uncertainty, truth
    if name.startswith("harmonic ") and value > truth.high:
        value, whole = 10 ** (value / 20), Truth(*(10 ** (x / 20) for x in truth))
        u *= value * math.log(10) / 20
    miss = max(abs(whole.miss(value)) - ROUNDING * abs(value), 0.0)
    return miss / u if u > 0 else math.inf if miss else 0.0


def _on_its_side(figure: MeasuredValue, truth: Truth) -> bool:
    if truth is NOTHING:
        return False
    in_db = figure.value < 0 or figure.bound == "lower"
    margin = max(BOUND_MARGIN * 8 if in_db else BOUND_MARGIN * abs(figure.value),
                 3 * figure.uncertainty)  # fmt: skip
    if figure.bound == "upper":
        return truth.low <= figure.value + margin
    return truth.high >= figure.value - margin


def _key(finding: Finding, truth: dict[str, Truth]) -> str | None:
    """The truth that a finding answers to; of harmonic sums, to the order that it says."""
    name, figure = finding.metric.name, finding.figure
    if f"{name} to 10" in truth:
        text = (figure.detail.get("harmonics", "") if figure else "") or "2 to 10"
        last = 2 if text.startswith("only") else int(text.split()[-1])
        return f"{name} to {last}" if f"{name} to {last}" in truth else f"{name} to 10"
    if figure is None:
        return name if name in truth else None
    for more in (figure.order, figure.detail.get("for"), f"{figure.frequency_hz or 0:g}"):
        if f"{name} {more}" in truth:
            return f"{name} {more}"
    limited = f"{name} at {figure.limit_percent or 0:g} %"
    return next((one for one in (limited, name) if one in truth), None)


HEADINGS = ("", "readings", "in 95 %", "refused", "remarked", "bounds", "wrong side", "beyond 5 u",
            "worst")  # fmt: skip


def table(result: Iterable[Outcome], label: Callable[[Outcome], Iterable[str]]) -> str:
    """One row a label. Shares in percent of the readings; the interval's of those measured."""
    rows: dict[str, list[Outcome]] = defaultdict(list)
    for one in result:
        for name in label(one):
            rows[name].append(one)
    lines = ["| " + " | ".join(HEADINGS) + " |", "| --- |" + " ---: |" * (len(HEADINGS) - 1)]
    return "\n".join([*lines, *(_row(name, rows[name]) for name in sorted(rows))])


def _row(name: str, some: list[Outcome]) -> str:
    meant = [x for x in some if x.state != "not applicable"]
    by = {s: [x for x in meant if x.state == s] for s in ("measured", "remarked", "bound",
                                                           "refused")}  # fmt: skip
    plain = by["measured"]
    wrong = sum(not x.held for x in by["bound"])
    far = sum(x.score > FAR for x in plain)
    worst = max((x.score for x in plain), default=0.0)
    shares = [100 * len(by[s]) / len(meant) if meant else 0.0
              for s in ("refused", "remarked", "bound")]  # fmt: skip
    inside = f"{100 * np.mean([x.held for x in plain]):.1f}" if plain else "-"
    cells = [name, str(len(meant)), inside, *(f"{s:.1f}" for s in shares), str(wrong), str(far),
             f"{worst:.3g}"]  # fmt: skip
    return "| " + " | ".join(cells) + " |"


def worst(result: Iterable[Outcome], number: int = 20) -> list[str]:
    """The worst readings measured without a remark, one a draw, with the key to replay them."""
    ordered = sorted((x for x in result if x.state == "measured" and x.score > FAR),
                     key=lambda x: -x.score)  # fmt: skip
    seen: dict[str, Outcome] = {}
    for one in ordered:
        seen.setdefault(one.key, one)
    return [line(x) for x in list(seen.values())[:number]]


def line(x: Outcome) -> str:
    """One outcome in a line."""
    truth = "nothing is right" if x.truth is NOTHING else f"{x.truth.low:.6g}..{x.truth.high:.6g}"
    faults = " + ".join(x.faults) or "honest"
    return (f"{x.key:10} {x.kind}: {faults}: {x.metric} {x.state} {x.value:.6g}, true {truth}, "
            f"{x.score:.3g} u, {x.text}")  # fmt: skip
