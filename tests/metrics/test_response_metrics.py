"""Metrics and curves of sweeps and response tables."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.signal import bilinear, lfilter

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.measurement import measure
from backbench.signal.track import Array
from swept import capture_data, figures, played

SENT = played(seconds=1.5)


def band_pass(low_hz: float, high_hz: float) -> Array:
    """The sweep through a first-order high-pass and a first-order low-pass."""
    low, high = 2 * math.pi * low_hz, 2 * math.pi * high_hz
    once = lfilter(*bilinear([1, 0], [1, low], SENT.rate_hz), SENT.volts)
    return np.asarray(lfilter(*bilinear([high], [1, high], SENT.rate_hz), once))


def analogue(hz: float, low_hz: float, high_hz: float) -> float:
    """Magnitude of both in closed form; the bilinear transform bends the frequency axis."""
    bent = SENT.rate_hz / math.pi * math.tan(math.pi * hz / SENT.rate_hz)
    return 1 / math.sqrt((1 + (low_hz / bent) ** 2) * (1 + (bent / high_hz) ** 2))


def corner(low_hz: float, high_hz: float, bracket: tuple[float, float]) -> float:
    """Where that magnitude is 1 / sqrt(2) of what it is at 1 kHz."""
    target = analogue(1000, low_hz, high_hz) / math.sqrt(2)
    return float(brentq(lambda hz: analogue(hz, low_hz, high_hz) - target, *bracket))


def test_corners_and_gain_through_a_real_sweep() -> None:
    result = figures(capture_data(SENT, 3 * band_pass(25, 12_000)))
    low, high = result["response_low_3db", None], result["response_high_3db", None]
    assert low.value == pytest.approx(corner(25, 12e3, (12, 999)), rel=1e-3)
    assert high.value == pytest.approx(corner(25, 12e3, (1001, 20e3)), rel=1e-4)
    gain = result["gain", 1000]
    assert gain.value == pytest.approx(20 * math.log10(3 * analogue(1000, 25, 12e3)), abs=1e-3)
    assert gain.uncertainty == pytest.approx(8.686 * 0.005 * math.sqrt(2), rel=0.01)


def test_a_wire_is_flat_and_its_corners_are_bounds() -> None:
    sent = played(seconds=4.0)
    result = figures(capture_data(sent, sent.volts))
    assert result["gain", 1000].value == pytest.approx(0, abs=1e-3)
    assert result["response_spread", None].value < 1e-3
    low, high = result["response_low_3db", None], result["response_high_3db", None]
    assert (low.bound, high.bound) == ("upper", "lower")
    assert low.value < 20
    assert high.value > 20_000
    for hz in (20, 50, 100, 200, 500, 2000, 5000, 10_000, 15_000, 20_000):
        assert result["response_at", hz].value == pytest.approx(0, abs=1e-3)


@settings(max_examples=5, deadline=None)
@given(st.floats(0.05, 9))
def test_scaling_moves_the_gain_alone(factor: float) -> None:
    shaped = band_pass(30, 9000)
    before, after = (
        figures(capture_data(SENT, shaped)),
        figures(capture_data(SENT, factor * shaped)),
    )
    for key, figure in before.items():
        moved = 20 * math.log10(factor) if key[0] == "gain" else 0.0
        assert after[key].value == pytest.approx(figure.value + moved, rel=1e-6, abs=1e-6)


def test_calibration_is_no_part_of_a_response() -> None:
    one = figures(capture_data(SENT, band_pass(30, 9000), calibration=0.001))
    other = figures(capture_data(SENT, band_pass(30, 9000), calibration=0.05))
    for key in one.keys() - {("gain", 1000.0)}:
        assert one[key].uncertainty == other[key].uncertainty


def test_a_narrow_sweep_gives_no_spread() -> None:
    sent = played(50, 15_000, 1.0)
    findings, _ = measure(capture_data(sent, sent.volts))
    by_name = {f.metric.name: f for f in findings}
    assert by_name["response_spread"].status == "not_applicable"
    assert "not 20 Hz to 20 kHz" in (by_name["response_spread"].reason or "")
    assert ("response_at", 20.0) not in figures(capture_data(sent, sent.volts))


def test_rates_that_differ_are_refused() -> None:
    taken = capture_data(SENT, SENT.volts)
    other = capture_data(SENT._replace(rate_hz=44_100.0), SENT.volts).reference
    findings, _ = measure(
        CaptureData(taken.stimulus, taken.conditions, taken.outputs, reference=other)
    )
    assert {f.status for f in findings} == {"rejected"}
    assert all("sampled at" in (f.reason or "") for f in findings)


def test_the_curve_is_that_of_the_metrics() -> None:
    _, traces = measure(capture_data(SENT, band_pass(25, 12_000)))
    trace = next(t for t in traces if t.name == "response")
    assert (trace.name, trace.x_unit, trace.y_unit) == ("response", "Hz", "dB re 1 kHz")
    assert trace.data.y[np.argmin(np.abs(trace.data.x - 1000))] == pytest.approx(0, abs=1e-9)
    assert (np.diff(trace.data.x) > 0).all()
    assert trace.data.uncertainty is not None


def reduced(hz: Array, level: Array, unit: str = "dB") -> CaptureData:
    columns = {
        "frequency": TableColumn(name="f", unit="Hz"),
        "level": TableColumn(name="l", unit=unit),
    }
    return CaptureData(
        stimulus=Table(table="response", columns=columns),
        conditions=Conditions(),
        outputs={},
        table={"frequency": hz, "level": level},
    )


def test_a_table_gives_the_corner_of_its_formula() -> None:
    """First order, 12 points an octave, printed to 0.01 dB: within what is told, and 0.3 %."""
    hz = np.round(10 * 2 ** (np.arange(140) / 12), 3)
    level = np.round(-10 * np.log10(1 + (160 / hz) ** 2), 2)
    result = figures(reduced(hz, level))["response_low_3db", None]
    # 1 kHz itself is down by 0.1098 dB, so that 3.0103 dB below it lies a little lower.
    exact = 160 / math.sqrt(2 * (1 + 0.16**2) - 1)
    assert result.value == pytest.approx(exact, rel=0.003)
    assert abs(result.value - exact) < 3 * result.uncertainty
    assert ("gain", 1000.0) not in figures(reduced(hz, level))


OF_MANY = {"response_spread", "response_deviation", "response_bump"}


@pytest.mark.parametrize("shuffled", [False, True])
def test_volts_and_decibels_tell_the_same(shuffled: bool) -> None:
    hz = np.array([10, 20, 100, 1000, 10_000, 20_000, 40_000.0])
    volts = np.array([0.5, 0.8, 1.0, 1.0, 0.95, 0.8, 0.4])
    order = np.random.default_rng(1).permutation(7) if shuffled else np.arange(7)
    by_volts = figures(reduced(hz[order], volts[order], "V"))
    by_db = figures(reduced(hz, 20 * np.log10(volts)))
    for key, figure in by_db.items():
        if figure.bound == "upper":  # holds the rounding of the printed values, which differs
            continue
        # The middle of the interval that holds a greatest of many moves a little with the rounding.
        moved = by_volts[key].uncertainty / 4 if key[0] in OF_MANY else 1e-9
        assert by_volts[key].value == pytest.approx(figure.value, rel=1e-9, abs=moved)


@pytest.mark.parametrize(
    ("hz", "level", "unit", "reason"),
    [
        ([2000.0, 4000.0], [0.0, 0.0], "dB", "1 kHz is outside"),
        ([500.0, 500.0, 2000.0], [0.0, 0.0, 0.0], "dB", "don't rise"),
        ([500.0, 2000.0], [0.0, 1.0], "V", "0 V or below"),
    ],
)
def test_tables_that_tell_nothing_are_refused(
    hz: list[float], level: list[float], unit: str, reason: str
) -> None:
    findings, traces = measure(reduced(np.array(hz), np.array(level), unit))
    assert {f.status for f in findings} == {"rejected"}
    assert all(reason in (f.reason or "") for f in findings)
    assert not traces


def test_a_noisy_flat_table_gives_its_spread_as_a_bound() -> None:
    """0.1 dB steps about 0 dB: what is seen is the rounding."""
    hz = 20 * 2 ** (np.arange(241) / 24)
    level = 0.1 * (np.arange(241) % 2)
    spread: MeasuredValue = figures(reduced(hz, level))["response_spread", None]
    assert spread.bound == "upper"
