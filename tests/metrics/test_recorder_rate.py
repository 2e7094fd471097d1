"""A file with nothing playing whose stated sample rate isn't the recorder's."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from backbench.documents.medium_stimuli import Transport
from backbench.ingest.analyse import materials_of
from backbench.metrics.declaration import CaptureData
from backbench.metrics.lines_elsewhere import ANY_RATE
from backbench.metrics.recorder_rate import HEADER_ALONE
from captures import job, volts_of
from tones import figures, idle_material, reasons, sines, tone_material, track

RATES = [(48_000.0, 44_100.0), (44_100.0, 48_000.0), (96_000.0, 48_000.0)]


def hiss(rate: float, volts: float = 1e-6, seconds: float = 1.0) -> np.ndarray:
    """Noise, of one second unless told otherwise."""
    return np.random.default_rng(1).normal(0, volts, int(seconds * rate))


def _tone(rate: float) -> CaptureData:
    """997 Hz of the session, at the rate that its file states."""
    return tone_material(track(sines(rate, 1.0, {997.0: 1.0}), rate), hz=997.0)


@pytest.mark.parametrize(("real", "stated"), RATES)
def test_hum_at_other_places_is_told(real: float, stated: float) -> None:
    hum = sines(real, 1.0, {50.0: 1e-4, 150.0: 4e-5, 250.0: 1e-5})
    capture = idle_material(track(hum + hiss(real), stated))
    assert reasons(capture)["hum"][1].startswith("lines at multiples of")
    remark = figures(capture)["noise"].remark
    assert remark is not None
    assert remark.startswith("warning: lines at multiples of")
    assert f"the sample rate was {real / 1e3:g} kHz, not {stated / 1e3:g} kHz" in remark


@pytest.mark.parametrize("peaks", [{}, {50.0: 1e-4}, {100.0: 1e-4, 300.0: 1e-5}, {54.4: 1e-4},
                                   {217.0: 1e-4, 434.0: 1e-4}, {25.0: 1e-4}])  # fmt: skip
def test_other_lines_tell_of_no_rate(peaks: dict[float, float]) -> None:
    """Hum as stated, a line by itself, a transmitter's bursts."""
    capture = idle_material(track(sines(48_000.0, 1.0, peaks) + hiss(48_000.0), 48_000.0))
    assert "if the sample rate was" not in (figures(capture)["noise"].remark or "")


@pytest.mark.parametrize(("real", "stated"), RATES)
def test_the_sessions_tone_tells(real: float, stated: float) -> None:
    idle = idle_material(track(hiss(real), stated))
    tone = tone_material(track(sines(real, 1.0, {997.0: 1.0}), stated), hz=997.0)
    assert figures(idle)["noise"].remark == HEADER_ALONE
    assert figures(replace(idle, witness=_tone(stated)))["noise"].remark is None
    reason = reasons(replace(idle, witness=tone))["noise"][1]
    assert f"sample rate was {real / 1e3:g} kHz, not {stated / 1e3:g} kHz" in reason


@pytest.mark.parametrize(("stated", "hum_v", "told"), [
    (48_000.0, 0.0, False), (96_000.0, 0.0, True), (96_000.0, 1e-4, False),
])  # fmt: skip
def test_a_tone_at_another_rate_is_told_where_no_hum_shows_the_own(
    stated: float, hum_v: float, told: bool
) -> None:
    volts = hiss(48_000.0) + sines(48_000.0, 1.0, {50.0: hum_v, 150.0: 0.4 * hum_v})
    idle = idle_material(track(volts, 48_000.0))
    result = figures(replace(idle, witness=_tone(stated)))["noise"]
    assert result.value == figures(idle)["noise"].value
    assert ("nothing shows that the sample rate was 48 kHz" in (result.remark or "")) == told


def _played(speed: float, rate: float, stated: float, depth: float = 2e-3) -> CaptureData:
    """Three seconds of a tone of 3150 Hz that a machine plays at a speed, with flutter of 4 Hz."""
    hz, t = 3150.0 * speed, np.arange(int(3 * rate)) / rate
    wave = np.sin(2 * np.pi * hz * t + depth * hz / 4 * np.sin(2 * np.pi * 4 * t))
    capture = tone_material(track(wave, stated))
    return replace(capture, stimulus=Transport(transport_hz=3150.0))


@pytest.mark.parametrize(("speed", "real", "stated", "told"), [
    (1.0, 48_000.0, 48_000.0, False), (0.972, 48_000.0, 48_000.0, False),
    (1.028, 44_100.0, 44_100.0, False), (1.045, 48_000.0, 48_000.0, True),
    (1.028, 44_100.0, 48_000.0, True), (0.972, 48_000.0, 44_100.0, True),
    (0.972, 44_100.0, 48_000.0, True), (1.0, 96_000.0, 48_000.0, True),
])  # fmt: skip
def test_a_played_tone_confirms_a_rate_but_refutes_none(
    speed: float, real: float, stated: float, told: bool
) -> None:
    """A machine is 3 % off at most; usual rates are 8 % apart or more."""
    idle = replace(idle_material(track(hiss(real), stated)), witness=_played(speed, real, stated))
    assert figures(idle)["noise"].remark == (HEADER_ALONE if told else None)


def test_noise_at_a_played_tones_place_confirms_nothing() -> None:
    witness = replace(_played(1.0, 48_000.0, 48_000.0), outputs={1: track(hiss(48_000.0, 1.0))})
    idle = replace(idle_material(track(hiss(48_000.0))), witness=witness)
    assert figures(idle)["noise"].remark == HEADER_ALONE


FIELD = {50.0: 1e-4, 100.0: 1e-5, 150.0: 4e-5, 250.0: 2e-5}
RIPPLE = {100.0: 1e-4, 200.0: 2.5e-5, 300.0: 1.1e-5, 400.0: 6e-6}


@pytest.mark.parametrize(("peaks", "real", "stated", "told"), [
    (FIELD, 48_000.0, 48_000.0, False), ({60.0: 1e-4, 180.0: 4e-5}, 48_000.0, 48_000.0, False),
    (RIPPLE, 48_000.0, 48_000.0, False), (RIPPLE, 96_000.0, 96_000.0, True),
    ({}, 48_000.0, 48_000.0, True),
    (FIELD, 48_000.0, 96_000.0, True), (RIPPLE, 96_000.0, 48_000.0, True),
    ({50.0: 1e-4}, 48_000.0, 48_000.0, True), ({50.0: 1e-4}, 192_000.0, 192_000.0, False),
])  # fmt: skip
def test_hum_confirms_a_rate_only_where_no_other_puts_lines_there(
    peaks: dict[float, float], real: float, stated: float, told: bool
) -> None:
    """Of 48 kHz, half is no usual rate. At half the real rate rectifiers look like a field."""
    capture = idle_material(track(sines(real, 1.0, peaks) + hiss(real), stated))
    assert (figures(capture)["noise"].remark == HEADER_ALONE) == told


@pytest.mark.parametrize(("real", "stated"), RATES)
def test_a_bound_on_hum_holds_at_every_usual_rate_where_none_is_confirmed(
    real: float, stated: float
) -> None:
    """One line, 150 Hz, which lies where none of the mains is by the stated rate."""
    volts = sines(real, 2.0, {150.0: 1e-4}) + hiss(real, seconds=2.0)
    idle = idle_material(track(volts, stated))
    alone, beside = figures(idle), figures(replace(idle, witness=_tone(stated)))
    for name in ("hum", "mains_line 3"):
        assert alone[name].bound == "upper"
        assert alone[name].value > 1e-4 / 2**0.5
        assert ANY_RATE in (alone[name].remark or "")
        assert beside[name].value < 0.1 * alone[name].value


def test_the_skirt_of_another_tone_is_no_tone() -> None:
    """Half a second of 58.5 Hz: its lobe reaches to where 63.7 Hz is looked for."""
    capture = tone_material(track(sines(192_000.0, 0.5, {63.7: 1.0}), 176_400.0), hz=63.7)
    assert "it would be right if the sample rate were 192 kHz" in reasons(capture)["level"][1]


def test_a_job_with_nothing_playing_holds_the_sessions_tone(tmp_path: Path) -> None:
    quiet = job(tmp_path / "quiet.wav", "idle", volts_of("idle", 1.0))
    tone = job(tmp_path / "tone.wav", "tone", volts_of("tone", 1.0))
    beside = replace(quiet, witness=tone)
    assert beside.base_key != quiet.base_key
    assert tone.source in beside.sources
    assert tone.source not in beside.own_sources
    data = next(materials_of(beside))
    assert data.witness is not None
    assert data.witness.stimulus == tone.stimulus
