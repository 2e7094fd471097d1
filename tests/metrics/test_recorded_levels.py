"""Levels that a unit plays from a file or disc: errors, dynamic range, silence, de-emphasis."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.metrics.recorded_levels import deemphasis_db
from backbench.metrics.session import Derived, Reading, RefusedDerivation
from bench_readings import derived, one, reading, refused

FULL_V = 2.0


def level(db: float, error_db: float = 0.0, **more: object) -> Reading:
    """A tone of 997 Hz played at a level re full scale, 2 V at full scale."""
    given = {"frequency_hz": 997.0, "generator_vrms": None, "load_ohm": None,
             "full_scale_db": db, "analysis_key": f"at {db}", **more}  # fmt: skip
    return reading("level", FULL_V * 10 ** ((db + error_db) / 20), 0.004, 0.0005, **given)


def test_error_of_each_level_and_the_greatest_of_them() -> None:
    """Closed form: the level stated is what the output should fall by."""
    tones = [level(0), level(-20, 0.01), level(-60, -0.05), level(-90, 0.4), level(-110, 3.0)]
    errors = {e.figure.detail["recorded"]: e.figure for e in derived("level_error", tones)}
    assert [round(f.value, 6) for f in errors.values()] == [0.01, -0.05, 0.4, 3.0]
    assert list(errors)[1] == "-60 dB re full scale"
    # One calibration: what each record leaves unknown alone counts.
    for figure in errors.values():
        assert figure.uncertainty == pytest.approx(8.6859 * math.hypot(5e-4, 5e-4), rel=1e-3)
    worst = one("level_linearity", tones)
    assert worst.figure.value == pytest.approx(0.4)
    assert worst.like.full_scale_db == -90


def test_no_linearity_without_low_levels_or_without_a_reference() -> None:
    assert derived("level_linearity", [level(0), level(-20), level(-60)]) == []
    assert derived("level_error", [level(-40), level(-60)]) == []
    clipped = [level(0), reading("thd", 8.0, analysis_key="at 0", frequency_hz=997.0,
                                 generator_vrms=None, load_ohm=None),
               level(-6), level(-60, 0.2)]  # fmt: skip
    errors = derived("level_error", clipped)
    assert {e.made_from[1].full_scale_db for e in errors} == {-6}


def test_a_tone_below_the_noise_is_refused_and_makes_no_linearity() -> None:
    hidden = level(-90, bound="upper", status="at_floor")
    assert "record for longer" in refused("level_error", [level(0), hidden]).reason
    refusal = refused("level_linearity", [level(0), level(-80), hidden])
    assert isinstance(refusal, RefusedDerivation)


@settings(max_examples=25, deadline=None)
@given(st.floats(-1, 1), st.floats(0.1, 10))
def test_gain_makes_no_error(error_db: float, gain: float) -> None:
    """Property: errors stay as they are whatever the output's level at full scale."""
    from dataclasses import replace

    tones = [level(0), level(-60, error_db)]
    louder = [replace(r, value=gain * (r.value or 0)) for r in tones]
    a, b = one("level_error", tones), one("level_error", louder)
    assert a.figure.value == pytest.approx(error_db, abs=1e-9)
    assert b.figure.value == pytest.approx(error_db, abs=1e-9)


def residual(volts: float, weighting: str = "CCIR-RMS", db: float = -60.0, **more: object):  # type: ignore[no-untyped-def]
    given = {"frequency_hz": 997.0, "generator_vrms": None, "load_ohm": None, "full_scale_db": db,
             "detail": {"weighting": weighting}, **more}  # fmt: skip
    return reading("played_residual", volts, 0.01, 0.006, **given)


def test_dynamic_range_is_full_scale_over_what_is_beside_the_low_tone() -> None:
    found = one("dynamic_range", [level(0), residual(2e-5)])
    assert found.figure.value == pytest.approx(100.0)
    assert found.figure.detail == {"weighting": "CCIR-RMS"}
    # The tone nearest to full scale stands for it, by the level that it was stated at.
    assert one("dynamic_range", [level(-1), residual(2e-5)]).figure.value == pytest.approx(100.0)
    assert derived("dynamic_range", [level(0), residual(2e-5, db=-20.0)]) == []
    assert derived("dynamic_range", [residual(2e-5)]) == []
    bound = one("dynamic_range", [level(0), residual(2e-5, bound="upper", status="at_floor")])
    assert bound.figure.bound == "lower"


def test_dynamic_range_of_an_ideal_converter() -> None:
    """16 bits with triangular dither: rounding and dither are q^2/4 over half the rate, so that
    20 kHz of 22.05 kHz leave 20 lg(2^15 / sqrt 2 / sqrt(1/4 x 20/22.05)) = 93.74 dB unweighted
    (closed form; 1/12 of rounding and twice 1/12 of the dither)."""
    q = FULL_V * math.sqrt(2) / 2**15
    noise = q * math.sqrt(0.25 * 20 / 22.05)
    found = one("dynamic_range", [level(0), residual(noise, "none")])
    expected = 20 * math.log10(2**15 / math.sqrt(2) / math.sqrt(0.25 * 20 / 22.05))
    assert found.figure.value == pytest.approx(expected)
    assert expected == pytest.approx(93.74, abs=0.01)


def test_silence_re_full_scale_at_the_same_settings() -> None:
    silence = {"stimulus": "idle", "frequency_hz": None, "generator_vrms": None, "load_ohm": None}
    noises = [reading("noise_ccir_rms", 2e-5, 0.01, 0.006, **silence),
              reading("noise_a", 1e-5, 0.01, 0.006, **silence)]  # fmt: skip
    found = {d.figure.detail["weighting"]: d.figure.value
             for d in derived("silence_noise", [level(0), *noises])}  # fmt: skip
    assert found == {"A": pytest.approx(-106.02, abs=0.01), "CCIR-RMS": pytest.approx(-100)}
    other = reading("noise_a", 1e-5, 0.01, 0.006, **silence, volume="half")
    assert derived("silence_noise", [level(0), other]) == []


def tone_of(hz: float, db: float, **more: object) -> Reading:
    return level(-20, db, frequency_hz=hz, analysis_key=f"{hz}", **more)


def test_deemphasis_beside_a_circuit() -> None:
    """Independent: 50 us and 15 us as the poles and zeros of scipy's analogue filter; at 20 kHz
    the table of the compact disc's emphasis has about 9.5 dB."""
    from scipy.signal import freqs

    hz = np.array([100.0, 1000.0, 5000.0, 16_000.0, 20_000.0])
    _, gain = freqs([15e-6, 1], [50e-6, 1], worN=2 * np.pi * hz)
    assert deemphasis_db(hz) == pytest.approx(20 * np.log10(np.abs(gain)))
    assert deemphasis_db(hz)[-1] == pytest.approx(-9.5, abs=0.1)


def test_error_of_a_unit_that_undoes_the_emphasis_and_of_one_that_does_not() -> None:
    hz = [997.0, 5000.0, 16_000.0]
    falls = deemphasis_db(np.array(hz))
    right = [tone_of(f, fall, pre_emphasis=True) for f, fall in zip(hz, falls, strict=True)]
    errors = derived("disc_deemphasis_error", right)
    assert [round(e.figure.value, 6) for e in errors if isinstance(e, Derived)] == [0.0, 0.0]
    wrong = derived("disc_deemphasis_error", [tone_of(f, 0.0, pre_emphasis=True) for f in hz])
    assert wrong[1].figure.value == pytest.approx(falls[0] - falls[2], abs=1e-6)
    assert derived("disc_deemphasis_error", [tone_of(f, 0.0) for f in hz]) == []
    assert derived("played_response", right) == []


def test_response_of_played_tones() -> None:
    tones = [tone_of(997.0, 0.0), tone_of(20.0, -0.2), tone_of(20_000.0, -0.7)]
    found = {d.like.frequency_hz: d.figure.value for d in derived("played_response", tones)}
    assert found == {20.0: pytest.approx(-0.2), 20_000.0: pytest.approx(-0.7)}
