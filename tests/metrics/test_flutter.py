"""Wow and flutter of tones whose speed is known, and drop-outs of known depth and length.

The weighting is held against the table of IEC 60386 (from memory) by an independent way: weights
interpolated in the table, put on a Fourier transform of the modulation.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.signal import hilbert

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Transport
from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.findings import Finding
from backbench.metrics.measurement import measure
from backbench.signal.flutter import (
    CHARGE_S,
    DETECTOR_ERROR,
    DISCHARGE_S,
    PULSES,
    WEIGHTING_DB,
    WEIGHTING_ERROR_DB,
    quasi_peak,
    weighting,
)
from backbench.signal.track import Array, Track

RATE, METER_RATE = 8_000.0, 4_800.0
T = np.arange(int(13 * RATE)) / RATE
STATED_DB = (
    (0.1, -48.0), (0.2, -30.6), (0.315, -19.7), (0.4, -15.0), (0.63, -8.4), (0.8, -6.0),
    (1.0, -4.2), (1.6, -1.8), (2.0, -0.9), (4.0, 0.0), (6.3, -0.9), (10.0, -2.1), (20.0, -5.9),
    (40.0, -10.4), (63.0, -14.2), (100.0, -17.3), (200.0, -23.0),
)  # fmt: skip
"""The curve of IEC 60386 (from memory), written here again so that no slip of the program's own
table passes."""
TABLE_HZ, TABLE_DB = np.array(STATED_DB).T


def played(speed: Array, noise: float = 1e-4, hz: float = 3150.0, seed: int = 1) -> Array:
    """A tone of 1 V peak at a relative speed of 1 + speed."""
    phase = 2 * np.pi * hz * np.cumsum(1 + speed) / RATE
    return np.asarray(np.sin(phase) + noise * np.random.default_rng(seed).standard_normal(len(T)))


def sine(percent: float, hz: float) -> Array:
    return np.asarray(percent / 100 * np.sin(2 * np.pi * hz * T + 0.3))


def findings(volts: Array, hz: float = 3150.0) -> dict[str, Finding]:
    track = Track(volts, RATE, 10.0, 0.003)
    taken = CaptureData(Transport(transport_hz=hz), Conditions(), {1: track})
    return {f.metric.name: f for f in measure(taken)[0]}


def figures(volts: Array) -> dict[str, MeasuredValue]:
    return {name: f.figure for name, f in findings(volts).items() if f.figure}


def table_weight(hz: Array) -> Array:
    """Weights straight between the table's points on logarithmic axes."""
    db = np.interp(np.log(np.maximum(hz, 1e-3)), np.log(TABLE_HZ), TABLE_DB, left=-100.0)
    return np.asarray(10 ** (db / 20))


def test_the_program_has_the_stated_curve() -> None:
    assert WEIGHTING_DB == STATED_DB


def test_the_filter_is_within_its_stated_distance_of_the_table() -> None:
    apart = 20 * np.log10(weighting(TABLE_HZ)) - TABLE_DB
    assert np.abs(apart).max() <= WEIGHTING_ERROR_DB


def test_the_shape_that_an_abstract_states() -> None:
    """AES6-2008, abstract: about 6 dB an octave on both sides of 4 Hz, more below 0.5 Hz."""
    fall = 20 * np.log10(weighting(np.array([50.0, 100.0, 1.0, 2.0, 0.2, 0.4])))
    assert fall[0] - fall[1] == pytest.approx(6.0, abs=1.0)
    assert 2 < fall[3] - fall[2] < 6
    assert fall[5] - fall[4] > 12


@pytest.mark.parametrize(("hz", "percent"), [(0.8, 0.2), (4.0, 0.03), (33.0, 0.5), (100.0, 0.1)])
def test_closed_form_of_a_sine(hz: float, percent: float) -> None:
    weight = float(table_weight(np.array([hz]))[0])
    flat = 1 / math.sqrt(1 + (hz / 200) ** 4)
    result = figures(played(0.01 + 1.01 * sine(percent, hz), noise=1e-5))
    wanted = {
        "flutter_two_sigma": percent * weight * math.sin(0.9545 * math.pi / 2),
        "flutter_quasi_peak": percent * weight,
        "flutter_rms": percent * weight / math.sqrt(2),
        "flutter_unweighted_rms": percent * flat / math.sqrt(2),
        "flutter_unweighted_peak": percent * flat,
    }
    for name, value in wanted.items():
        figure = result[name]
        assert figure.value == pytest.approx(value, rel=0.06), (name, hz)
        assert abs(figure.value - value) <= 2.5 * figure.uncertainty + 0.005 * value, (name, hz)


def test_twice_the_flutter_reads_twice_as_much() -> None:
    one, two = (figures(played(k * sine(0.1, 5.0), noise=0.0)) for k in (1, 2))
    for name in (name for name in one if name.startswith("flutter")):
        assert two[name].value == pytest.approx(2 * one[name].value, rel=1e-3), name


@cache
def course() -> Array:
    """Random flutter of the usual kind, % : wow of a turn, a capstan's line, rough motion."""
    rng = np.random.default_rng(5)
    lines = sine(0.12, 0.9) + sine(0.05, 7.3) + sine(0.02, 47.0)
    spectrum = np.fft.rfft(rng.standard_normal(len(T)))
    hz = np.fft.rfftfreq(len(T), 1 / RATE)
    rough = np.fft.irfft(spectrum / np.maximum(hz, 1.0) * (hz < 150), len(T))
    return np.asarray(lines + 4e-4 * rough / rough.std())


def test_independent_reference_of_rms_and_two_sigma() -> None:
    """scipy's Hilbert transform, a Fourier transform weighted by the table's own points."""
    volts = played(course())
    phase = np.unwrap(np.angle(hilbert(volts)))
    hz = np.gradient(phase) * RATE / (2 * np.pi)
    speed = 100 * (hz / hz[1000:-1000].mean() - 1)[1000:-1000]
    weights = table_weight(np.fft.rfftfreq(len(speed), 1 / RATE))
    weights[np.fft.rfftfreq(len(speed), 1 / RATE) > 400] = 0
    shaped = np.fft.irfft(np.fft.rfft(speed) * weights, len(speed))[
        int(4.075 * RATE) : -int(0.075 * RATE)
    ]
    result = figures(volts)
    rms, two_sigma = result["flutter_rms"], result["flutter_two_sigma"]
    assert rms.value == pytest.approx(shaped.std(), rel=0.04)
    assert two_sigma.value == pytest.approx(np.quantile(np.abs(shaped), 0.9545), rel=0.06)


def test_independent_reference_of_the_peak_detector() -> None:
    """A pulse in closed form, a sine by scipy's solver: v' = max(x - v, 0) / charge - v / decay."""
    at = np.linspace(2.0, 2.5, 1001)
    both = np.zeros(len(at))
    for sign in (1.0, -1.0):

        def slope(time: float, v: Array, sign: float = sign) -> Array:
            now = sign * math.sin(8 * math.pi * time)
            return np.asarray(max(now - v[0], 0.0) / CHARGE_S - v[0] / DISCHARGE_S)

        found = solve_ivp(slope, (0, 2.5), [0.0], max_step=0.005, t_eval=at)
        both += found.y[0] / 2
    rate_of_charge = 1 / CHARGE_S + 1 / DISCHARGE_S
    pulse = -math.expm1(-0.06 * rate_of_charge) / (CHARGE_S * rate_of_charge) / 2
    t = np.arange(int(METER_RATE)) / METER_RATE
    shown = quasi_peak(1.0 * (t < 0.06), METER_RATE)
    assert shown.max() == pytest.approx(pulse / both.max(), rel=0.01)


def test_pulses_read_what_is_stated_as_far_as_the_method_says() -> None:
    t = np.arange(int(4 * METER_RATE)) / METER_RATE
    read = []
    for seconds, stated in PULSES:
        # The pulses are as high as the sine from peak to peak.
        shown = quasi_peak(2.0 * (t % 1.0 < seconds), METER_RATE)[-int(METER_RATE) :]
        read.append(round(100 * shown.max()))
        assert read[-1] == pytest.approx(stated, abs=100 * DETECTOR_ERROR)
    assert shown.min() / shown.max() == pytest.approx(0.40, abs=0.04)
    assert read == pytest.approx([24, 58, 88, 109], abs=1)


def test_golden() -> None:
    result = figures(played(course()))
    values = {name: round(f.value, 4) for name, f in result.items() if name.startswith("flutter")}
    assert values == {
        "flutter_quasi_peak": 0.1189, "flutter_rms": 0.0657, "flutter_two_sigma": 0.1271,
        "flutter_unweighted_peak": 0.1865, "flutter_unweighted_rms": 0.1048,
    }  # fmt: skip


def test_noise_makes_a_bound_and_no_flutter() -> None:
    """At 30 dB over 6 kHz the discriminator's noise is what is read."""
    steady = figures(played(np.zeros(len(T)), noise=0.02))
    assert steady["flutter_unweighted_rms"].bound == "upper"
    beside = figures(played(sine(0.2, 4.0), noise=0.002))
    assert beside["flutter_rms"].bound is None


def test_refusals() -> None:
    short = findings(played(course())[: int(8 * RATE)])["flutter_rms"]
    assert (short.status, "9 s are needed" in (short.reason or "")) == ("rejected", True)
    low = findings(played(course(), hz=1000.0), hz=1000.0)["flutter_rms"]
    assert low.status == "not_applicable"
    assert "3150 Hz or 3000 Hz" in (low.reason or "")


def dropped(seconds: float, depth_db: float, at: tuple[float, ...]) -> Array:
    gain = np.ones(len(T))
    for start in at:
        gain[(start <= T) & (start + seconds > T)] = 10 ** (-depth_db / 20)
    return gain * played(course())


def test_dropouts_of_known_depth_and_length() -> None:
    result = figures(dropped(0.03, 15.0, (1.0, 2.5, 12.2)))
    minutes = (len(T) / RATE - 0.4) / 60
    assert result["dropouts"].value == pytest.approx(3 / minutes, rel=0.01)
    assert result["dropout_depth"].value == pytest.approx(15.0, abs=0.7)
    assert result["dropout_length"].value == pytest.approx(0.03, abs=0.002)
    assert "between drop-outs" in (result["flutter_rms"].remark or "")
    shallow = figures(dropped(0.03, 4.0, (1.0, 2.5)))
    assert shallow["dropouts"].value == 0
    assert "dropout_depth" not in shallow


def test_flutter_between_drop_outs_is_that_of_the_tape() -> None:
    whole, spoiled = figures(played(course())), figures(dropped(0.02, 20.0, (0.8, 12.0)))
    for name in ("flutter_rms", "flutter_two_sigma"):
        apart = abs(spoiled[name].value - whole[name].value)
        assert apart <= 2 * math.hypot(spoiled[name].uncertainty, whole[name].uncertainty)
