"""Transfer functions from sweeps against systems whose response is known in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.signal import bilinear, freqz, lfilter

from backbench.errors import Refusal
from backbench.signal.sweep import transfer, transfer_of
from backbench.signal.sweep_excitation import played_sweep
from backbench.signal.sweep_impulse import swept_impulses
from backbench.signal.sweep_window import SweepParameters
from swept import Played, played

SENT = played()


def through(sent: Played, volts: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Frequencies, gain in dB and its standard uncertainty in dB."""
    result = transfer(sent.volts, volts, sent.rate_hz, sent.sweep)
    magnitude = np.abs(result.ratio)
    return result.frequency_hz, 20 * np.log10(magnitude), 8.686 * result.noise / magnitude


def test_a_wire_is_flat_at_0_db() -> None:
    hz, db, _ = through(SENT, SENT.volts)
    assert_allclose(db, 0, atol=3e-3)
    assert_allclose(db[hz >= 20], 0, atol=1e-3)


@pytest.mark.parametrize(("length", "odd"), [(65_319, False), (66_317, False), (70_001, True)])
def test_a_wire_is_flat_whatever_the_record_s_length(length: int, odd: bool) -> None:
    """odd: whether the window then has an odd number of samples."""
    sent = played(20.0, 20_000.0, (length - 4800) / 48_000, 0.0)
    volts = np.pad(sent.volts, (0, length - len(sent.volts)))
    ready = played_sweep(volts, length, sent.rate_hz, sent.sweep)
    assert ready.window.size % 2 == odd
    result = transfer_of(ready, volts)
    assert_allclose(np.abs(result.ratio), 1, atol=2e-3)


@settings(max_examples=8, deadline=None)
@given(st.floats(0.01, 50), st.booleans(), st.integers(-2000, 9000))
def test_gain_polarity_and_delay_come_back(gain: float, inverted: bool, delay: int) -> None:
    """A pure gain with delay, negative where the recorder started after the player."""
    sign = -1.0 if inverted else 1.0
    heard = np.roll(SENT.volts, delay)
    result = transfer(SENT.volts, sign * gain * heard, SENT.rate_hz, SENT.sweep)
    assert result.arrival_s == pytest.approx(delay / SENT.rate_hz, abs=1e-9)
    assert_allclose(result.ratio, sign * gain, rtol=5e-4)


@pytest.mark.parametrize(
    ("corner_hz", "high_pass"), [(15.0, True), (300.0, True), (300.0, False), (9000.0, False)]
)
def test_first_order_filters_agree_with_their_frequency_response(
    corner_hz: float, high_pass: bool
) -> None:
    """scipy.signal.freqz evaluates the same coefficients without a sweep."""
    corner = 2 * np.pi * corner_hz
    coefficients = bilinear([1, 0] if high_pass else [corner], [1, corner], SENT.rate_hz)
    hz, db, _ = through(SENT, lfilter(*coefficients, SENT.volts))
    _, expected = freqz(*coefficients, hz, fs=SENT.rate_hz)
    audio = (hz >= 20) & (hz <= 20_000)
    assert audio.sum() > 230
    assert_allclose(db[audio], 20 * np.log10(np.abs(expected[audio])), atol=2e-3)


@pytest.mark.parametrize("rate", [48_000.0, 96_000.0, 192_000.0])
def test_a_rate_far_above_the_band_gives_phase_and_arrival_to_the_sample(rate: float) -> None:
    """The response is worked out at the band's own rate; scipy.signal.freqz knows nothing of it.

    A first-order low-pass, late by a number of samples that isn't one of that rate.
    """
    sent = played(seconds=1.0, rate_hz=rate)
    coefficients = bilinear([2 * np.pi * 9000], [1, 2 * np.pi * 9000], rate)
    late = np.roll(lfilter(*coefficients, sent.volts), 123)
    result = transfer(sent.volts, late, rate, sent.sweep)
    hz = result.frequency_hz
    assert result.arrival_s * rate == pytest.approx(123, abs=round(rate / 48_000))
    _, expected = freqz(*coefficients, hz, fs=rate)
    expected = expected * np.exp(2j * np.pi * hz * (result.arrival_s - 123 / rate))
    within = (hz >= 50) & (hz <= 20_000)
    assert_allclose(result.ratio[within], expected[within], atol=2e-4)


def test_a_sweep_made_ready_once_serves_every_output() -> None:
    ready = played_sweep(SENT.volts, len(SENT.volts), SENT.rate_hz, SENT.sweep)
    for gain in (1.0, -0.2):
        own = transfer(SENT.volts, gain * SENT.volts, SENT.rate_hz, SENT.sweep)
        shared = transfer_of(ready, gain * SENT.volts)
        assert np.array_equal(own.ratio, shared.ratio)
        assert np.array_equal(own.noise, shared.noise)


def test_outputs_made_together_are_as_each_alone() -> None:
    ready = played_sweep(SENT.volts, len(SENT.volts), SENT.rate_hz, SENT.sweep)
    outputs = [SENT.volts, -0.2 * np.roll(SENT.volts, 31)]
    together = swept_impulses(ready, [np.fft.rfft(volts, ready.size) for volts in outputs])
    for volts, made in zip(outputs, together, strict=True):
        (alone,) = swept_impulses(ready, [np.fft.rfft(volts, ready.size)])
        assert made.peak == alone.peak
        assert np.array_equal(made.spectrum, alone.spectrum)
        assert np.array_equal(made.impulse, alone.impulse)


def test_harmonics_are_left_out() -> None:
    """x + a x**3 has the fundamental gain 1 + 3/4 a A**2 and a third harmonic that must not show.

    Kept in, the third harmonic would stand 30 dB below, and ripple the result by 0.27 dB. The
    sweep ends below a third of half the sample rate, so that nothing folds back.
    """
    sent = played(stop_hz=7900.0)
    hz, db, _ = through(sent, sent.volts + 0.15 * sent.volts**3)
    middle = (hz >= 50) & (hz <= 7000)
    assert_allclose(db[middle], 20 * np.log10(1 + 0.75 * 0.15), atol=0.01)


def test_noise_is_reported_as_large_as_it_is() -> None:
    """Scatter of repeated records over the uncertainty told of each: 1 within 25 %."""
    clean = lfilter([0.5], [1, -0.5], SENT.volts)
    hz, exact, _ = through(SENT, clean)
    rng = np.random.default_rng(3)
    scores = []
    for _ in range(16):
        _, db, u = through(SENT, clean + 2e-3 * rng.normal(size=len(clean)))
        scores.append((db - exact) / u)
    audio = (hz >= 30) & (hz <= 18_000)
    assert np.std(np.array(scores)[:, audio]) == pytest.approx(1, abs=0.25)


def test_noise_is_reported_where_the_record_ends_with_the_sweep() -> None:
    sent = played(tail_s=0.0)
    rng = np.random.default_rng(4)
    clean = through(sent, sent.volts)[1]
    _, db, u = through(sent, sent.volts + 2e-3 * rng.normal(size=len(sent.volts)))
    assert 0.6 < np.std((db - clean) / u) < 1.3


def test_noise_is_reported_where_the_recording_stops_short_of_what_was_played() -> None:
    """0.4 s of the last silence are missing, into which the noise is otherwise read."""
    rng, short = np.random.default_rng(6), round(0.4 * SENT.rate_hz)
    clean = through(SENT, SENT.volts[:-short])[1]
    noisy = SENT.volts + 2e-3 * rng.normal(size=len(SENT.volts))
    _, db, u = through(SENT, noisy[:-short])
    assert 0.6 < np.std((db - clean) / u) < 1.3


def test_a_mains_line_widens_the_uncertainty_where_it_stands() -> None:
    time = np.arange(len(SENT.volts)) / SENT.rate_hz
    hz, db, u = through(SENT, SENT.volts + 5e-3 * np.sin(2 * np.pi * 100 * time))
    near, far = np.argmin(np.abs(hz - 100)), np.argmin(np.abs(hz - 3000))
    assert u[near] > 20 * u[far]
    assert abs(db[near]) < 3 * u[near]


def other_sweeps() -> dict[str, tuple[np.ndarray, SweepParameters]]:
    time = np.arange(len(SENT.volts)) / SENT.rate_hz
    linear = np.sin(2 * np.pi * (10 * time + 4000 * time**2))
    return {
        "silence": (np.zeros_like(time), SENT.sweep),
        "a tone": (np.sin(2 * np.pi * 1000 * time), SENT.sweep),
        "a linear sweep": (linear, SENT.sweep),
        "another band": (SENT.volts, SweepParameters(2000.0, 22_000.0, 2.0)),
    }


@pytest.mark.parametrize("kind", other_sweeps())
def test_what_is_no_such_sweep_is_refused(kind: str) -> None:
    volts, stated = other_sweeps()[kind]
    with pytest.raises(Refusal, match="what was played"):
        transfer(volts, volts, SENT.rate_hz, stated)


def test_an_output_that_does_not_follow_is_refused() -> None:
    noise = np.random.default_rng(5).normal(size=len(SENT.volts))
    with pytest.raises(Refusal, match="explains only"):
        transfer(SENT.volts, noise, SENT.rate_hz, SENT.sweep)
    with pytest.raises(Refusal, match="silent"):
        transfer(SENT.volts, np.zeros_like(noise), SENT.rate_hz, SENT.sweep)


def spoilt(kind: str) -> np.ndarray:
    """The sweep with a fault at 1 s, when it passes 320 Hz."""
    at, sweep = round(1.0 * SENT.rate_hz), SENT.volts
    if kind == "dropped block":
        return np.delete(sweep, slice(at, at + 100))
    if kind == "repeated block":
        return np.insert(sweep, at, sweep[at - 100 : at])
    if kind == "starts late":
        return np.where(np.arange(len(sweep)) < at, 0.0, sweep)
    assert kind == "jump of 3 dB"
    return np.where(np.arange(len(sweep)) < at, 1.0, 0.7) * sweep


@pytest.mark.parametrize("kind", ["dropped block", "repeated block", "starts late", "jump of 3 dB"])
def test_a_sweep_that_breaks_off_or_jumps_is_refused_with_where(kind: str) -> None:
    with pytest.raises(Refusal, match=r"breaks off, jumps or wavers") as refused:
        transfer(SENT.volts, spoilt(kind), SENT.rate_hz, SENT.sweep)
    hz = float(str(refused.value).split("passes ")[1].split(" Hz")[0])
    passed_hz = 10 * np.exp((1.0 - 0.1) / SENT.sweep.scale_s)
    assert abs(np.log2(hz / passed_hz)) < 0.7


@settings(max_examples=15, deadline=None)
@given(st.floats(0.3, 1.9), st.floats(1e-3, 1e-1), st.integers(0, 40))
def test_a_click_or_a_short_gap_widens_the_uncertainty_that_it_needs(
    at_s: float, volts: float, zeros: int
) -> None:
    """Wherever it is: the wire's 0 dB lies within five standard uncertainties, or it is refused."""
    first = round(at_s * SENT.rate_hz)
    heard = SENT.volts + 1e-5 * np.random.default_rng(1).normal(size=len(SENT.volts))
    heard[first] += volts
    heard[first + 50 : first + 50 + zeros] = 0.0
    try:
        hz, db, u = through(SENT, heard)
    except Refusal:
        return
    audio = (hz >= 20) & (hz <= 20_000)
    assert np.all(np.abs(db[audio]) < 5 * np.hypot(u, 1e-3)[audio])


@pytest.mark.parametrize("parts_per_million", [-300, 300])
def test_a_recorder_with_another_clock_is_not_refused(parts_per_million: float) -> None:
    """Delays that change slowly are no jump; resampled by its spectrum, far from the band's end."""
    sent = played(stop_hz=15_000.0)
    time = np.arange(len(sent.volts)) * (1 + 1e-6 * parts_per_million)
    fine = np.fft.irfft(np.fft.rfft(sent.volts), 16 * len(sent.volts)) * 16
    heard = np.interp(time, np.arange(len(fine)) / 16, fine)
    hz, db, _ = through(sent, heard)
    inside = (hz >= 20) & (hz <= 12_000)
    assert_allclose(db[inside], 0, atol=0.05)


@pytest.mark.parametrize("late_s", [0.02, 0.15, 0.3])
def test_a_click_after_the_sweep_is_in_the_uncertainty(late_s: float) -> None:
    """It lies in the window of the response, which goes on for as long as low frequencies ring."""
    volts = SENT.volts + np.random.default_rng(1).normal(0, 1e-6, len(SENT.volts))
    _, sound, _ = through(SENT, volts)
    volts[round((2.1 + late_s) * SENT.rate_hz)] += 0.5
    hz, db, u = through(SENT, volts)
    treble = hz > 5000
    off = np.abs(db - sound)[treble]
    assert off.max() > 2e-3
    assert np.all(off <= 2 * u[treble])


@pytest.mark.parametrize("at_s", [0.05, 0.6, 1.5])
def test_a_jump_of_the_steady_voltage_is_in_the_uncertainty(at_s: float) -> None:
    """Closed form: a step V has the spectrum V / (2 pi f)."""
    volts = SENT.volts + np.random.default_rng(1).normal(0, 1e-6, len(SENT.volts))
    _, sound, _ = through(SENT, volts)
    volts[round(at_s * SENT.rate_hz) :] += 0.02
    hz, db, u = through(SENT, volts)
    inside = (hz > 25) & (hz < 15_000)
    off = np.abs(db - sound)[inside]
    assert off.max() > 1e-3
    assert np.all(off <= 2 * u[inside])
