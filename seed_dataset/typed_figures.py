"""Figures of a session whose recordings are gone, as they were typed from a notebook."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from backbench.seed_dataset.behaviour import NOMINAL_OHM, REFERENCE_HZ, Behaviour
from backbench.seed_dataset.draws import generator_for
from backbench.seed_dataset.faults import behaviours
from backbench.seed_dataset.scenario import Review, Unit
from backbench.seed_dataset.stimulus import number
from backbench.seed_dataset.transfer import distortion
from backbench.seed_dataset.truth import power_at_rated_distortion

NOTEBOOK_SCATTER = 0.03
"""Of a needle's reading, a ratio (k = 1; no source)."""
UNCERTAINTY_PERCENT = 4


@dataclass(frozen=True)
class Typed:
    """One figure: metric, output, its text with unit, conditions as TOML."""

    unit: str
    output: str
    metric: str
    value: str
    at: str


def entered_text(review: Review) -> str:
    """The `[[entered]]` tables of a review without captures."""
    tables = []
    for page, one in enumerate(_typed(review), start=12):
        lines = ["[[entered]]", f'metric = "{one.metric}"', f'unit = "{one.unit}"']
        lines += [f'output = "{one.output}"', f'value = "{one.value}"']
        lines += [f"at = {{ {one.at} }}"] if one.at else []
        lines += [f"uncertainty_percent = {UNCERTAINTY_PERCENT}"]
        tables.append(
            "\n".join([*lines, f'origin = "notebook of {review.date.year}, page {page}"'])
        )
    return "\n\n".join(tables)


def _typed(review: Review) -> Iterator[Typed]:
    made = behaviours(review)
    for (unit, output), one in zip(review.channels, made, strict=True):
        rng = generator_for("notebook", review.key, unit.key, output)
        for metric, value, unit_name, at in _of_an_output(unit, one):
            read = value * (1 + NOTEBOOK_SCATTER * rng.standard_normal())
            yield Typed(unit.key, output, metric, f"{number(float(f'{read:.2g}'))} {unit_name}", at)
    factor = NOMINAL_OHM / float(abs(made[0].source_at(REFERENCE_HZ)[0]))
    at = "frequency_hz = 1000, load_ohm = 8"
    yield Typed(review.units[0].key, "both", "damping_factor", number(float(f"{factor:.2g}")), at)


def _of_an_output(unit: Unit, one: Behaviour) -> Iterator[tuple[str, float, str, str]]:
    """Metric, value, unit and conditions of what the notebook held of each output."""
    rated = unit.rated_power_w
    if rated is not None:
        at = "frequency_hz = 1000, load_ohm = 8"
        yield ("power_at_limit", power_at_rated_distortion(one), "W", f"{at}, limit_percent = 1")
        drive = math.sqrt(NOMINAL_OHM * rated) / one.divider(NOMINAL_OHM) / one.rail_v
        thd = distortion(one.transfer.at(1000.0), drive, one.ceiling(NOMINAL_OHM))[0]
        yield "thd", 100 * thd, "%", f"{at}, power_w = {number(rated / 2)}"
    yield "noise", 1000 * math.hypot(one.hiss_v, *one.mains_v), "mV", ""
