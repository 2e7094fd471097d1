"""Deviation, greatest rise, -1 and -0.5 dB points, phase, group delay, the bench's own response."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import bilinear, freqz, lfilter

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.metrics.declaration import CaptureData, CurveData, MeasuredValue
from backbench.metrics.measurement import Trace, measure
from backbench.signal.response import Response
from backbench.signal.track import Array
from swept import capture_data, figures, played

SENT = played(seconds=1.5)
RATE = SENT.rate_hz


def resonant(hz: float, q: float) -> tuple[Array, Array]:
    """A second-order low-pass with closed-form peak, as a digital filter."""
    w = 2 * math.pi * hz
    b, a = bilinear([w**2], [1, w / q, w**2], RATE)
    return np.asarray(b), np.asarray(a)


def low_cut(hz: float) -> tuple[Array, Array]:
    b, a = bilinear([1, 0], [1, 2 * math.pi * hz], RATE)
    return np.asarray(b), np.asarray(a)


def through(*filters: tuple[Array, Array]) -> Array:
    wave = SENT.volts
    for b, a in filters:
        wave = lfilter(b, a, wave)
    return np.asarray(wave)


def exact(hz: Array, *filters: tuple[Array, Array]) -> Array:
    """Complex response of the filters: an independent library's evaluation of their z-transform."""
    total = np.ones(len(hz), dtype=complex)
    for b, a in filters:
        total = total * freqz(b, a, hz, fs=RATE)[1]
    return np.asarray(total)


def curve(taken: CaptureData, name: str) -> CurveData:
    result = [t for t in measure(taken)[1] if isinstance(t, Trace) and t.name == name]
    return result[0].data


def value(taken: CaptureData, metric: str) -> MeasuredValue:
    return figures(taken)[metric, None]


def table(db: Array, hz: Array, phase: Array | None = None) -> CaptureData:
    columns = {
        "frequency": TableColumn(name="f", unit="Hz"),
        "level": TableColumn(name="l", unit="dB"),
    }
    held = {"frequency": hz, "level": db}
    if phase is not None:
        columns["phase"] = TableColumn(name="p", unit="deg")
        held["phase"] = phase
    return CaptureData(Table(table="response", columns=columns), Conditions(), {}, table=held)


FINE = np.geomspace(5, 40_000, 3000)


@given(st.floats(40, 300), st.floats(2000, 8000), st.sampled_from([0.5, 1.0]))
@settings(max_examples=20, deadline=None)
def test_closed_form_of_first_order_edges(low: float, high: float, down: float) -> None:
    """(f/fc)^2 = 10^(d/10) - 1 for a low-pass alone; the reference at 1 kHz is taken off."""
    reference = 10 * math.log10(1 + (low / 1000) ** 2) + 10 * math.log10(1 + (1000 / high) ** 2)
    db = -10 * np.log10(1 + (low / FINE) ** 2) - 10 * np.log10(1 + (FINE / high) ** 2)
    taken = table(np.round(db, 9), FINE)
    name = "1db" if down == 1.0 else "half_db"
    for side in ("low", "high"):
        result = value(taken, f"response_{side}_{name}")
        if result.bound:
            continue
        hz = result.value
        there = 10 * math.log10(1 + (low / hz) ** 2) + 10 * math.log10(1 + (hz / high) ** 2)
        assert there - reference == pytest.approx(down, abs=1e-3)


def test_closed_form_of_a_resonance() -> None:
    """|H| peaks at f0 sqrt(1 - 1/(2 Q^2)) with Q / sqrt(1 - 1/(4 Q^2))."""
    f0, q = 9000.0, 1.4
    x = FINE / f0
    db = -10 * np.log10((1 - x**2) ** 2 + (x / q) ** 2)
    at_1k = -10 * math.log10((1 - (1 / 9) ** 2) ** 2 + (1 / 9 / q) ** 2)
    taken = table(np.round(db, 9), FINE)
    peak = 20 * math.log10(q / math.sqrt(1 - 1 / (4 * q**2))) - at_1k
    bump, at = value(taken, "response_bump"), value(taken, "response_bump_at")
    assert bump.value == pytest.approx(peak, abs=1e-4)
    assert at.value == pytest.approx(f0 * math.sqrt(1 - 1 / (2 * q**2)), rel=3e-3)
    # At 20 kHz it is down further than the peak is up.
    low = -10 * math.log10((1 - (20 / 9) ** 2) ** 2 + (20 / 9 / q) ** 2) - at_1k
    assert value(taken, "response_deviation").value == pytest.approx(-low, abs=1e-4)


def test_a_flat_response_has_no_rise() -> None:
    taken = capture_data(
        SENT, SENT.volts + 1e-4 * np.random.default_rng(1).standard_normal(len(SENT.volts))
    )
    assert value(taken, "response_bump").bound == "upper"
    assert ("response_bump_at", None) not in figures(taken)


def test_noise_alone_is_no_rise() -> None:
    """Of 241 points of noise the greatest lies near three times its standard deviation.

    A rise counts as one above twice its uncertainty: noise alone must seldom get there.
    """
    hz = np.geomspace(20, 20_000, 241)
    taken = 0
    for seed in range(200):
        noise = 0.1 * np.random.default_rng(seed).standard_normal(241)
        result, _ = Response(hz, noise, np.full(241, 0.1)).highest(20, 20_000)
        taken += result.db > 2 * result.u
    assert taken <= 10


def test_phase_and_group_delay_of_filters() -> None:
    filters = (low_cut(30.0), resonant(12_000.0, 0.9))
    taken = capture_data(SENT, through(*filters))
    phase = curve(taken, "phase")
    truth = exact(phase.x, *filters)
    inside = (phase.x > 25) & (phase.x < 15_000)
    off = np.angle(np.exp(1j * np.radians(phase.y)) / truth * np.abs(truth))
    # The arrival, taken off as whole samples, is all that may stand between the two.
    slope = np.polyfit(phase.x[inside], np.unwrap(off)[inside], 1)
    assert np.max(np.abs(np.unwrap(off)[inside] - np.polyval(slope, phase.x[inside]))) < 0.01
    samples = slope[0] / (2 * np.pi) * RATE
    assert abs(samples - round(samples)) < 0.02
    delay = curve(taken, "group_delay")
    step = 1e-3
    above, below = (exact(delay.x * (1 + s * step), *filters) for s in (0.5, -0.5))
    wanted = -np.angle(above / below) / (2 * np.pi * delay.x * step) * 1e3
    result = delay.y + round(samples) / RATE * 1e3
    low = (delay.x > 25) & (delay.x < 1000)
    assert result[low] == pytest.approx(wanted[low], abs=0.02)


def test_phase_of_a_table() -> None:
    hz = np.array([100.0, 1000.0, 10_000.0])
    taken = table(np.array([0.0, 0.0, -1.0]), hz, np.array([170.0, -175.0, -100.0]))
    assert curve(taken, "phase").y == pytest.approx([170.0 - 360, -175.0, -100.0])


def test_the_loop_back_is_divided_out() -> None:
    """Independent reference: the unit alone, without the bench's roll-offs."""
    unit, bench = (low_cut(22.0), resonant(16_000.0, 0.8)), (low_cut(8.0), resonant(19_000.0, 0.6))
    bare = capture_data(SENT, through(*unit, *bench))
    loop = capture_data(SENT, through(*bench))
    corrected, alone = replace(bare, bench=loop), capture_data(SENT, through(*unit))
    for metric in ("response_low_3db", "response_high_3db", "response_spread"):
        truth = value(alone, metric).value
        assert value(corrected, metric).value == pytest.approx(truth, rel=5e-3, abs=0.02)
        assert abs(value(bare, metric).value / truth - 1) > 0.01
    assert value(corrected, "response_spread").detail == {}
    assert value(bare, "response_spread").detail == {"bench": "uncorrected"}


def test_a_loop_back_of_one_track_corrects_every_output() -> None:
    """Independent reference: the unit alone, without the bench's roll-off."""
    left, right, bench = low_cut(22.0), low_cut(30.0), low_cut(8.0)
    taken = capture_data(SENT, through(left, bench), through(right, bench))
    taken = replace(taken, bench=capture_data(SENT, through(bench)))
    alone = capture_data(SENT, through(left), through(right))
    for track in (1, 2):
        result = figures(taken, track=track)["response_low_3db", None]
        truth = figures(alone, track=track)["response_low_3db", None]
        assert result.value == pytest.approx(truth.value, rel=5e-3)
        assert result.detail == {}


def test_the_bench_corrects_the_shape_and_leaves_the_gain() -> None:
    loop = capture_data(SENT, 0.5 * SENT.volts)
    both = replace(capture_data(SENT, 2 * SENT.volts), bench=loop)
    assert figures(both)["gain", 1000.0].value == pytest.approx(20 * math.log10(2), abs=1e-3)


def test_separation_of_a_known_leak() -> None:
    """Leak of 0.001 rising with frequency through a capacitor: 60 dB at 1 kHz, 40 dB at 10 kHz."""
    rng = np.random.default_rng(5)
    b, a = low_cut(200_000.0)
    leak = 0.2 * lfilter(b, a, SENT.volts) + 1e-6 * rng.standard_normal(len(SENT.volts))
    taken = replace(capture_data(SENT, SENT.volts, leak), driven_track=1)
    result = figures(taken, track=2)
    truth = {hz: -20 * math.log10(0.2 * abs(exact(np.array([hz]), (b, a))[0])) for hz in (1e3, 1e4)}
    for hz, db in truth.items():
        reading = result["separation_at", hz]
        assert reading.value == pytest.approx(db, abs=0.05)
        assert reading.uncertainty >= 8.68 * 0.005 * math.sqrt(2) * 0.99
    assert not any(metric == "response_spread" for metric, _ in result)
    assert ("separation_at", 1e3) not in figures(taken, track=1)


def test_crosstalk_below_the_noise_is_a_bound() -> None:
    """Noise alone exceeds twice its uncertainty in exp(-2) of all readings (Rayleigh): 13.5 %."""
    rng = np.random.default_rng(5)
    readings = []
    for _ in range(20):
        silent = 1e-3 * rng.standard_normal(len(SENT.volts))
        taken = replace(capture_data(SENT, SENT.volts, silent), driven_track=1)
        result = figures(taken, track=2)
        readings += [result["separation_at", hz] for hz in (100.0, 1e3, 1e4)]
    assert np.mean([reading.bound == "lower" for reading in readings]) > 0.75
    assert all(40 < reading.value < 100 for reading in readings)


def test_the_bench_is_taken_at_the_capture_s_level() -> None:
    """Two loop-backs whose corner moves with level: between them both are right, and told so."""
    low = capture_data(SENT, 0.1 * through(low_cut(20.0)))
    high = capture_data(SENT, 10 * through(low_cut(30.0)))
    for volts, corner_hz in ((0.1, 20.0), (10.0, 30.0)):
        taken = replace(
            capture_data(SENT, volts * through(low_cut(corner_hz))), bench=low, bench_levels=(high,)
        )
        level = curve(taken, "response")
        assert np.abs(level.y[level.x >= 20]).max() < 0.02
    taken = capture_data(SENT, through(low_cut(25.0)))
    between = replace(taken, bench=low, bench_levels=(high,))
    result = figures(between)["response_at", 20.0]
    assert abs(result.value) < 2 * result.uncertainty
    assert 0.1 < result.uncertainty < 1.5
