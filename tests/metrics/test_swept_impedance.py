"""Source impedance over frequency from sweeps under two loads; regulation."""

from __future__ import annotations

import cmath
import math
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.metrics.declaration import CurveData
from backbench.metrics.registry import registry
from backbench.metrics.session import CurveReading, Derived, DerivedCurve, Reading, Session
from bench_readings import one, reading, refused

HZ = 1000 * 2 ** (np.arange(-160, 121) / 24)


def impedance(hz: np.ndarray) -> np.ndarray:
    """A resistor, a coil and a capacitor in series: 0.5 ohm, 5 uH, 20 mF."""
    s = 2j * np.pi * hz
    return np.asarray(0.5 + 5e-6 * s + 1 / (0.02 * s))


ARRIVAL_S = 1e-3


class Swept(NamedTuple):
    response: CurveReading
    phase: CurveReading
    arrival: Reading


def swept(load: float | None, name: str, **more: object) -> Swept:
    """As one load's sweep tells it, its arrival taken off the phase."""
    ohm = math.inf if load is None else load
    level = -10 / (1 + impedance(HZ) / ohm)
    at_1k = 10 / abs(1 + complex(impedance(np.array(1000.0))) / ohm)
    same = {"stimulus": "sweep", "load_ohm": load, "analysis_key": name, **more}
    like = reading("gain", 20 * math.log10(at_1k), 1e-3, 1e-5, **same)
    db = 20 * np.log10(np.abs(level) / at_1k)
    turned = np.degrees(np.unwrap(np.angle(level)))
    # Another load may move the greatest sample of the impulse response by one.
    late = ARRIVAL_S + (1 / 96_000 if load is None else 0.0)
    degrees = turned + 360 * HZ * (late - ARRIVAL_S)
    return Swept(
        CurveReading("response", like, CurveData(HZ, db, np.full(len(HZ), 1e-4))),
        CurveReading("phase", like, CurveData(HZ, degrees, np.full(len(HZ), 1e-3))),
        reading("sweep_arrival", late - ARRIVAL_S + ARRIVAL_S, **same),
    )


def session(*sweeps: Swept, phase: bool = True) -> Session:
    readings = [s.response.like for s in sweeps] + [s.arrival for s in sweeps if phase]
    return Session(
        readings, [s.response for s in sweeps], phases=[s.phase for s in sweeps if phase]
    )


def drawn(held: Session, name: str = "source_impedance") -> list[DerivedCurve]:
    derive = registry().curves[name].derive
    assert derive is not None
    return list(derive(held))


def given_in(held: Session, metric: str) -> list[Derived]:
    derive = registry().metrics[metric].derive
    assert derive is not None
    return [d for d in derive(held) if isinstance(d, Derived)]


@pytest.mark.parametrize("loads", [(None, 8.0), (8.0, 4.0), (16.0, 4.0)])
def test_closed_form_at_every_frequency(loads: tuple[float | None, float]) -> None:
    (result,) = drawn(session(swept(loads[0], "light"), swept(loads[1], "heavy")))
    assert result.data.x == pytest.approx(HZ)
    assert result.data.y == pytest.approx(np.abs(impedance(HZ)), rel=1e-9)
    assert result.data.uncertainty is not None
    assert (result.data.uncertainty > 0).all()
    assert result.like.load_ohm == loads[1]
    (turned,) = drawn(session(swept(loads[0], "a"), swept(loads[1], "b")), "source_impedance_phase")
    assert turned.data.y == pytest.approx(np.degrees(np.angle(impedance(HZ))), abs=1e-6)


def test_without_phase_it_is_the_regulation_resistance() -> None:
    held = session(swept(None, "light"), swept(8.0, "heavy"), phase=False)
    assert drawn(held) == []
    (result,) = drawn(held, "regulation_resistance")
    assert result.data.uncertainty is not None
    reached = result.data.y + 2 * result.data.uncertainty
    assert (np.abs(impedance(HZ)) <= reached).all()
    assert [d.figure.bound for d in given_in(held, "source_impedance")] == ["lower"] * 3
    assert [d.figure.bound for d in given_in(held, "damping_factor")] == ["upper"] * 3


def test_readings_at_three_frequencies_agree_with_the_curve() -> None:
    held = session(swept(None, "light"), swept(8.0, "heavy"))
    hertz = np.array([20.0, 1000.0, 20_000.0])
    magnitudes = np.abs(impedance(hertz))
    result = given_in(held, "source_impedance")
    assert [d.figure.value for d in result] == pytest.approx(magnitudes, rel=2e-3)
    factors = given_in(held, "damping_factor")
    assert [d.figure.value for d in factors] == pytest.approx(8 / magnitudes, rel=2e-3)
    assert [d.figure.frequency_hz for d in factors] == hertz.tolist()


def test_the_nominal_load_is_that_of_the_tap() -> None:
    held = session(swept(None, "light", tap="4 ohm"), swept(4.0, "heavy", tap="4 ohm"))
    result = given_in(held, "damping_factor")[1]
    assert result.figure.detail == {"nominal load": "4 ohm"}
    at_1k = abs(complex(impedance(np.array(1000.0))))
    assert result.figure.value == pytest.approx(4 / at_1k, rel=2e-3)


def test_other_drives_and_taps_make_no_pair() -> None:
    assert drawn(session(swept(None, "a"), swept(8.0, "b", generator_vrms=0.7))) == []
    assert drawn(session(swept(None, "a", tap="4 ohm"), swept(8.0, "b", tap="8 ohm"))) == []
    assert drawn(session(swept(8.0, "a"), swept(8.0, "b"))) == []


@pytest.mark.parametrize("opened", [(None,), (None, None)])
def test_open_sweeps_alone_say_nothing_of_an_impedance(opened: tuple[None, ...]) -> None:
    held = session(*(swept(load, str(n)) for n, load in enumerate(opened)))
    derive = registry().metrics["source_impedance"].derive
    assert derive is not None
    assert list(derive(held)) == []
    assert drawn(held) == []


def test_tones_at_five_frequencies_draw_a_curve() -> None:
    hertz = [20.0, 100.0, 1000.0, 5000.0, 20_000.0]
    readings = []
    for hz in hertz:
        for ohm in (math.inf, 8.0):
            volts = 10 / (1 + complex(impedance(np.array(hz))) / ohm)
            same = {"frequency_hz": hz, "load_ohm": None if math.isinf(ohm) else ohm,
                    "analysis_key": f"{hz} {ohm}"}  # fmt: skip
            readings += [
                reading("level", abs(volts), 0.002, 1e-4, **same),
                reading("gain", 20 * math.log10(abs(volts)), 0.002, 1e-4, **same),
                reading("gain_phase", math.degrees(cmath.phase(volts)), 1e-3, 1e-3, **same),
            ]
    (result,) = drawn(Session(readings[::-1]))
    assert result.data.x.tolist() == hertz
    assert result.data.y == pytest.approx(np.abs(impedance(np.array(hertz))), rel=1e-9)
    assert drawn(Session(readings[6:])) == []


def levels(source: float, **more: object) -> list[Reading]:
    return [
        reading("level", 10 * load / (load + source), 0.004, 1e-4, load_ohm=load, **more)
        for load in (8.0, 4.0)
    ]


@given(st.floats(0.01, 6.0))
def test_regulation_is_that_of_a_divider(source: float) -> None:
    """20 lg((4 + Zo) 8 / (4 (8 + Zo)))."""
    result = one("load_regulation", levels(source))
    truth = 20 * math.log10(2 * (4 + source) / (8 + source))
    assert result.figure.value == pytest.approx(truth, abs=1e-9)
    assert result.figure.uncertainty < 0.002


@pytest.mark.parametrize(
    ("source", "printed"), [(0.05, 0.05), (0.5, 0.50), (1, 0.92), (2, 1.58), (3, 2.09)]
)
def test_regulation_of_the_reference_list(source: float, printed: float) -> None:
    """Computed list in the references: gain when the load halves from 8 to 4 ohm."""
    assert round(one("load_regulation", levels(source)).figure.value, 2) == printed


def test_a_limited_output_tells_no_regulation() -> None:
    held = levels(1.0)
    bad = reading("thd", 12.0, 0.01, 0.01, load_ohm=4.0)
    assert "being limited" in refused("load_regulation", [*held, bad]).reason
