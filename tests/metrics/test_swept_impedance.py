"""Source impedance over frequency from sweeps under two loads; regulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.metrics.declaration import CurveData
from backbench.metrics.registry import registry
from backbench.metrics.session import CurveReading, Derived, DerivedCurve, Reading, Session
from bench_readings import derived, one, reading, refused

HZ = 1000 * 2 ** (np.arange(-160, 121) / 24)


def impedance(hz: np.ndarray) -> np.ndarray:
    """A resistance that rises at both ends, as an output transformer's does; real by choice."""
    return 0.5 + 0.1 * (1000 / hz) ** 0.5 + 0.2 * (hz / 20_000)


def swept(load: float | None, name: str, **more: object) -> CurveReading:
    ohm = math.inf if load is None else load
    level = 10 * (1.0 / (1 + impedance(HZ) / ohm))
    at_1k = 10 / (1 + float(impedance(np.array(1000.0))) / ohm)
    like = reading(
        "gain", 20 * math.log10(at_1k), 1e-3, 1e-5, stimulus="sweep", load_ohm=load,
        analysis_key=name, **more,
    )  # fmt: skip
    db = 20 * np.log10(level / at_1k)
    return CurveReading("response", like, CurveData(HZ, db, np.full(len(HZ), 1e-4)))


def session(*curves: CurveReading) -> Session:
    return Session([c.like for c in curves], curves)


def drawn(held: Session) -> list[DerivedCurve]:
    derive = registry().curves["source_impedance"].derive
    assert derive is not None
    return list(derive(held))


@pytest.mark.parametrize("loads", [(None, 8.0), (8.0, 4.0), (16.0, 4.0)])
def test_closed_form_at_every_frequency(loads: tuple[float | None, float]) -> None:
    (found,) = drawn(session(swept(loads[0], "light"), swept(loads[1], "heavy")))
    assert found.data.x == pytest.approx(HZ)
    assert found.data.y == pytest.approx(impedance(HZ), rel=1e-9)
    assert found.data.uncertainty is not None
    assert (found.data.uncertainty > 0).all()
    assert found.like.load_ohm == loads[1]


def test_readings_at_three_frequencies_agree_with_the_curve() -> None:
    curves = [swept(None, "light"), swept(8.0, "heavy")]
    found = derived("source_impedance", [c.like for c in curves], curves=curves)
    hertz = np.array([20.0, 1000.0, 20_000.0])
    values = [d.figure.value for d in found if isinstance(d, Derived)]
    assert values == pytest.approx(impedance(hertz), rel=2e-3)
    factors = derived("damping_factor", [c.like for c in curves], curves=curves)
    assert [d.figure.value for d in factors if isinstance(d, Derived)] == pytest.approx(
        8 / impedance(hertz), rel=2e-3
    )
    assert [d.figure.frequency_hz for d in factors if isinstance(d, Derived)] == hertz.tolist()


def test_the_nominal_load_is_that_of_the_tap() -> None:
    curves = [swept(None, "light", tap="4 ohm"), swept(4.0, "heavy", tap="4 ohm")]
    found = derived("damping_factor", [c.like for c in curves], curves=curves)
    assert isinstance(found[1], Derived)
    assert found[1].figure.detail == {"nominal load": "4 ohm"}
    assert found[1].figure.value == pytest.approx(4 / 0.61, rel=2e-3)


def test_other_drives_and_taps_make_no_pair() -> None:
    assert drawn(session(swept(None, "a"), swept(8.0, "b", generator_vrms=0.7))) == []
    assert drawn(session(swept(None, "a", tap="4 ohm"), swept(8.0, "b", tap="8 ohm"))) == []
    assert drawn(session(swept(8.0, "a"), swept(8.0, "b"))) == []


def test_tones_at_five_frequencies_draw_a_curve() -> None:
    hertz = [20.0, 100.0, 1000.0, 5000.0, 20_000.0]
    readings = [
        reading("level", 10 / (1 + float(impedance(np.array(hz))) / ohm), 0.002, 1e-4,
                frequency_hz=hz, load_ohm=None if math.isinf(ohm) else ohm)
        for hz in hertz for ohm in (math.inf, 8.0)
    ]  # fmt: skip
    (found,) = drawn(Session(readings[::-1]))
    assert found.data.x.tolist() == hertz
    assert found.data.y == pytest.approx(impedance(np.array(hertz)), rel=1e-9)
    assert drawn(Session(readings[2:])) == []


def levels(source: float, **more: object) -> list[Reading]:
    return [
        reading("level", 10 * load / (load + source), 0.004, 1e-4, load_ohm=load, **more)
        for load in (8.0, 4.0)
    ]


@given(st.floats(0.01, 6.0))
def test_regulation_is_that_of_a_divider(source: float) -> None:
    """20 lg((4 + Zo) 8 / (4 (8 + Zo)))."""
    found = one("load_regulation", levels(source))
    truth = 20 * math.log10(2 * (4 + source) / (8 + source))
    assert found.figure.value == pytest.approx(truth, abs=1e-9)
    assert found.figure.uncertainty < 0.002


@pytest.mark.parametrize(
    ("source", "told"), [(0.05, 0.05), (0.5, 0.50), (1, 0.92), (2, 1.58), (3, 2.09)]
)
def test_regulation_of_the_reference_list(source: float, told: float) -> None:
    """Computed list in the references: gain when the load halves from 8 to 4 ohm."""
    assert round(one("load_regulation", levels(source)).figure.value, 2) == told


def test_a_limited_output_tells_no_regulation() -> None:
    held = levels(1.0)
    bad = reading("thd", 12.0, 0.01, 0.01, load_ohm=4.0)
    assert "being limited" in refused("load_regulation", [*held, bad]).reason
