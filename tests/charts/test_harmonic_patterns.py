"""Small plots of harmonic patterns: what they draw are the rows, in order of likeness."""

from __future__ import annotations

import re

import polars as pl
import pytest

from backbench.charts.drawing import Labels
from backbench.charts.registry import charts
from backbench.charts.unchecked import specification


def _drawn(frame: pl.DataFrame, subject: str) -> tuple[str, list[dict[str, object]]]:
    spec = specification(charts()["patterns"].draw(frame, Labels(), subject))
    return spec["description"], [row for data in spec["datasets"].values() for row in data]


def test_every_harmonic_stands_at_its_level(frames: dict[str, pl.DataFrame]) -> None:
    """Depth below the panel's top is linear in level: one dB is the same everywhere."""
    frame = frames["patterns"].filter(pl.col("unit_key").is_in(["u0", "u1"]))
    _, rows = _drawn(frame, "u0")
    heads = {str(r["about"]): r for r in rows if "about" in r}
    assert len(heads) == frame.height
    own = [float(str(heads[f"Quarrel M-10, {n}"]["py"])) for n in ("2nd", "3rd", "4th")]
    other = [float(str(heads[f"Quarrel M-11, {n}"]["py"])) for n in ("2nd", "3rd", "4th")]
    decibel = (own[1] - own[0]) / 10
    assert own[2] - own[1] == pytest.approx(10 * decibel, rel=1e-4)
    assert other[0] - own[0] == pytest.approx(decibel, rel=1e-3)
    assert heads["Quarrel M-10, 4th"]["shown"] == "≤\u00a0−90\u00a0dB"


def test_the_likest_stand_beside_the_marked_unit(frames: dict[str, pl.DataFrame]) -> None:
    """One dB in one of two harmonics that can be told apart, with a bound that can't: 1/√3 dB."""
    heading, rows = _drawn(frames["patterns"], "u3")
    assert heading.startswith("Quarrel M-13: 2nd harmonic strongest, −73\u00a0dB; most alike ")
    assert re.search(r"most alike Quarrel M-1[24], 0.58 dB apart", heading)
    names = [
        str(r["text"])
        for r in rows
        if str(r.get("text", "")).startswith("Quarrel M-1") and ":" not in str(r["text"])
    ]
    assert names[0] == "Quarrel M-13"
    assert set(names[1:3]) == {"Quarrel M-12", "Quarrel M-14"}


def test_without_a_unit_neighbours_are_alike(frames: dict[str, pl.DataFrame]) -> None:
    heading, rows = _drawn(frames["patterns"].reverse(), "")
    # The last unit's second harmonic lies 1 dB below its third.
    assert heading.startswith("Strongest harmonic of 12 units: the 2nd in 11 and the 3rd in 1")
    numbers = [int(str(r["text"])[-2:]) for r in rows if str(r.get("text", "")).startswith("Quar")]
    assert numbers in (list(range(10, 22)), list(range(21, 9, -1)))
