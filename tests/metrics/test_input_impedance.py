"""Input impedance from the fall of the output behind a resistor before the input."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import ToneThroughResistor
from backbench.metrics.declaration import CaptureData
from backbench.metrics.session import Reading
from bench_readings import derived, one, reading, refused
from tones import figures, sines, track

OHM = 47_000.0


def pair(impedance: float, ohm: float = OHM, own: float = 2e-4, **more: object) -> list[Reading]:
    """Levels with and without the resistor, by the divider's closed form."""
    behind = 2.0 * impedance / (impedance + ohm)
    through = {"stimulus": "tone through a resistor", "through_ohm": ohm, "resistor_percent": 1.0,
               "analysis_key": "behind", **more}  # fmt: skip
    return [
        reading("level", 2.0, 0.004, own),
        reading("level_through_resistor", behind, 0.004, own, **through),
    ]


@settings(max_examples=25, deadline=None)
@given(st.floats(5e3, 2e6), st.floats(5e3, 2e5))
def test_the_divider_is_undone(impedance: float, ohm: float) -> None:
    """Closed form, over what inputs have: the impedance, whatever the resistor."""
    found = one("input_impedance", pair(impedance, ohm))
    assert found.figure.value == pytest.approx(impedance, rel=1e-9)
    assert found.like.metric == "level"
    rise = ohm / impedance
    u = math.hypot((1 + rise) / rise * 2e-4 * math.sqrt(2), 0.01 / math.sqrt(3))
    assert found.figure.uncertainty == pytest.approx(u * impedance, rel=1e-6)


def test_compression_of_the_stage_is_in_the_uncertainty() -> None:
    """Closed form: tanh takes x^2 / 4 off the fundamental and makes x^2 / 12 of third harmonic."""
    x, impedance = 0.2, 47e3
    divided = impedance / (impedance + OHM)
    straight, behind = pair(impedance)
    bent = [straight, behind]
    for n, (one_level, drive) in enumerate(((straight, 1.0), (behind, divided))):
        fall = 1 - (x * drive) ** 2 / 4
        bent[n] = replace(one_level, value=2 * drive * fall)
    harmonic = reading("thd", 100 * x**2 / 12, 0.01)
    found = one("input_impedance", [*bent, harmonic])
    assert abs(found.figure.value - impedance) < 2 * found.figure.uncertainty
    assert found.figure.uncertainty < 0.05 * impedance


def test_an_input_that_hardly_loads_is_a_bound() -> None:
    found = one("input_impedance", pair(1e9))
    assert found.figure.bound == "lower"
    assert 1e7 < found.figure.value < 1e9


def test_what_cannot_be_told_is_refused() -> None:
    straight, behind = pair(47e3)
    assert "no tone at the same" in refused("input_impedance", [behind]).reason
    unknown = replace(behind, generator_vrms=None)
    assert "isn't stated" in refused("input_impedance", [straight, unknown]).reason
    exchanged = [replace(straight, value=1.0), replace(behind, value=2.0)]
    assert "likely exchanged" in refused("input_impedance", exchanged).reason
    assert derived("input_impedance", [straight]) == []


def test_beside_a_network_solved_by_numpy() -> None:
    """Independent: nodal equations of generator, resistor and a resistive input."""
    added, input_ohm = 100e3, 22e3
    nodes = np.array([[1 / added + 1 / input_ohm]])
    volts = float(np.linalg.solve(nodes, np.array([1.0 / added]))[0])
    straight, behind = pair(input_ohm, added)
    assert behind.value == pytest.approx(2 * volts)
    assert one("input_impedance", [straight, behind]).figure.value == pytest.approx(22e3)


def test_its_level_is_that_of_the_tone_and_nothing_else_is_told() -> None:
    """Golden: 1 V peak; a tone behind a resistor gives no gain and no other figure."""
    stimulus = ToneThroughResistor(
        through_ohm=OHM, resistor_percent=1, through_hz=1000, generator_vrms=0.5
    )
    data = CaptureData(stimulus, Conditions(), {1: track(sines(48_000, 0.5, {1000.0: 1.0}))})
    found = figures(data)
    assert set(found) == {"level_through_resistor"}
    assert found["level_through_resistor"].value == pytest.approx(0.70711, abs=1e-5)
