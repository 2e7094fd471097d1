"""Stated differences and ranks against known truth, over simulated benches and catalogues.

Run: python tests/bench/like_with_like.py [CATALOGUES [SEED]]

Each catalogue has 24 units measured once, some of them in two or three sessions, on one bench that
was calibrated twice; five of the units are measured before and after work, on either calibration. A
reading is the unit's own distortion, times what the session gives, the calibration's error and the
record's; the bench's gain wanders between its calibrations. A fifth of the readings are taken
through phono, whose figure is another: they are to be left out by their stated input. Half of the
readings are taken up to 25 % off the power: of those half are carried along a sweep of five steps,
the others have the offset in their uncertainty. The spread between sessions is known to the program
by those repeats and by a default that is wrong by up to a factor of 1.6. Printed: coverage of the
intervals of differences (95.45 % stated), the share of stated differences with the wrong sign,
coverage of rank intervals, and their width against that which would be reached if every spread were
known.
"""

from __future__ import annotations

import math
import sys
from typing import Any

import numpy as np

from backbench.comparison.differences import same_conditions
from backbench.statistics.ranks import oriented, place
from backbench.statistics.shared_uncertainty import (
    Uncertainty,
    coverage_factor,
    effective_dof,
    of_difference,
)
from backbench.test_points.interpolate import interpolated
from backbench.test_points.repeatability import Repeatability, pooled

UNITS, PAIRS = 24, 5
DEFAULT = 0.10
RECORD = 0.01
CALIBRATION = 0.01
SHARE_OF_SWEEPS = 0.5


DRIFT = 0.02
"""Standard deviation of where the bench's gain has wandered to by the last review, relative."""
SHARE_THROUGH_PHONO = 0.2
"""Of readings taken through another input, whose figure is another quantity."""
PHONO = 40.0
"""Factor between the figure through phono and through aux: two equal receivers differ by 32 dB."""


class Bench:
    """One catalogue's bench and its truth."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.session = DEFAULT * float(np.exp(rng.uniform(-0.47, 0.47)))
        self.errors = rng.normal(0, CALIBRATION, 2)
        self.wander = float(rng.normal(0, DRIFT))

    def reading(self, truth: float, slope: float, calibration: int) -> dict[str, Any]:
        """A reading for the point's power of 1, with its uncertainty by parts."""
        rng = self.rng
        # The bench drifts between its calibrations: what a session finds has that in it too.
        day = float(rng.uniform(0, 1))
        given = truth * math.exp(rng.normal(0, self.session)) * (1 + self.errors[calibration])
        given *= 1 + self.wander * day
        power = rng.uniform(0.75, 1.25) if rng.random() < 0.5 else 1.0

        def at(p: float) -> dict[str, Any]:
            value = given * p**slope * (1 + rng.normal(0, RECORD))
            return {
                "value": value, "power_w": p, "unit": "%", "bound": None, "power_u": 0.0,
                "uncertainty": value * math.hypot(RECORD, CALIBRATION),
                "estimation": value * RECORD,
            }  # fmt: skip

        row, offset = at(power), abs(math.log(power)) / math.sqrt(3)
        if offset and rng.random() < SHARE_OF_SWEEPS:
            result = interpolated([at(power * 1.6**k) for k in (-2, -1, 0, 1, 2)], 1.0)
            assert result is not None
            row = {"value": result.value, "uncertainty": result.uncertainty,
                   "estimation": result.estimation}  # fmt: skip
            offset = 0.0
        phono = rng.random() < SHARE_THROUGH_PHONO
        if phono:
            for name in ("value", "uncertainty", "estimation"):
                row[name] *= PHONO
        named = {"input": "phono" if phono else "aux"}
        return {**row, **named, "offset": offset, "calibration": str(calibration)}


def parts(row: dict[str, Any], spread: float, dof: float | None) -> Uncertainty:
    value, record = row["value"], row["estimation"]
    session = value * spread
    own = math.hypot(record, session, value * row["offset"])
    shared = math.sqrt(max(row["uncertainty"] ** 2 - record**2, 0.0))
    return Uncertainty(own, shared, row["calibration"], effective_dof(own, [(session, dof)]))


def known(bench: Bench, repeats: list[list[dict[str, Any]]]) -> Repeatability:
    cells = [
        {
            "unit_key": str(k), "sessions": len(rows),
            "variance": float(np.var([math.log(row["value"]) for row in rows], ddof=1)),
            "record": float(np.mean([(row["estimation"] / row["value"]) ** 2 for row in rows])),
        }
        for k, rows in enumerate(repeats)
    ]  # fmt: skip
    return pooled("thd", True, DEFAULT, cells)


def catalogue(rng: np.random.Generator) -> tuple[list[tuple[bool, bool, bool]], bool, float]:
    """Pairs as (covered, stated, wrong sign); whether the rank was held; its width by the best."""
    bench = Bench(rng)
    truths = np.exp(rng.normal(math.log(0.1), 0.6, UNITS))
    slopes = rng.uniform(-0.5, 1.0, UNITS)
    sessions = [
        [bench.reading(truths[k], slopes[k], int(rng.integers(2))) | {"offset": 0.0}
         for _ in range(int(rng.integers(2, 4)))]
        for k in range(int(rng.integers(0, 8)))
    ]  # fmt: skip
    alike = [[row for row in rows if row["input"] == rows[0]["input"]] for rows in sessions]
    repeats = [rows for rows in alike if len(rows) > 1]
    spread = known(bench, repeats)
    pairs = []
    for _ in range(PAIRS):
        truth, slope = float(rng.choice(truths)), float(rng.uniform(-0.5, 1.0))
        change = float(np.exp(rng.normal(0, 0.4)))
        first = bench.reading(truth, slope, 0)
        second = bench.reading(truth * change, slope, int(rng.integers(2)))
        if not same_conditions(first, second):
            continue
        u, dof = of_difference(*(parts(row, spread.spread, spread.dof) for row in (first, second)))
        scale = PHONO if first["input"] == "phono" else 1.0
        difference, true = second["value"] - first["value"], scale * truth * (change - 1)
        reach = coverage_factor(dof) * u
        stated = abs(difference) > reach
        pairs.append((abs(difference - true) <= reach, stated, stated and difference * true < 0))
    held, width = ranked(bench, truths, slopes, spread)
    return pairs, held, width


def ranked(bench: Bench, truths: Any, slopes: Any, spread: Repeatability) -> tuple[bool, float]:
    rows = [
        bench.reading(t, s, int(bench.rng.integers(2))) for t, s in zip(truths, slopes, strict=True)
    ]
    kept = [k for k, row in enumerate(rows) if row["input"] == "aux"]
    rows, truths = [rows[k] for k in kept], truths[kept]
    index = int(bench.rng.integers(len(rows)))
    low, high = interval(rows, index, spread.spread, spread.dof)
    best = interval([row | {"offset": 0.0} for row in rows], index, bench.session, None)
    true = 1 + int(np.count_nonzero(truths < truths[index]))
    return low <= true <= high, (high - low + 1) / (best[1] - best[0] + 1)


def interval(rows: Any, index: int, spread: float, dof: float | None) -> tuple[int, int]:
    us = [parts(row, spread, dof) for row in rows]
    result = place(
        oriented(
            [row["value"] for row in rows], [u.own for u in us], "lower", dof=[u.dof for u in us],
            shared=[u.shared for u in us], source=[u.source for u in us],
        ), index,
    )  # fmt: skip
    assert result is not None
    return result


def main(catalogues: int = 400, seed: int = 1) -> None:
    rng = np.random.default_rng(seed)
    result = [catalogue(rng) for _ in range(catalogues)]
    pairs = np.asarray([pair for pairs, _, _ in result for pair in pairs])
    covered, stated, wrong = pairs.sum(axis=0)
    print(f"{len(pairs)} pairs of equal conditions in {catalogues} catalogues, seed {seed}")
    print(f"intervals of differences that hold the truth: {covered / len(pairs):.1%}")
    print(f"stated differences: {stated}; with the wrong sign: {wrong / max(stated, 1):.2%}")
    print(f"rank intervals that hold the truth: {np.mean([held for _, held, _ in result]):.1%}")
    print(f"mean width over the best possible: {np.mean([width for _, _, width in result]):.2f}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
