"""A stepped file reads as the same levels do in files of their own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Steps, Tone
from backbench.metrics.declaration import CaptureData
from backbench.metrics.measurement import Finding, measure
from backbench.signal.track import Track

RATE = 48_000.0
DRIVES = [0.1, 0.2, 0.35, 0.5, 0.6]
BEND = 0.02
"""y = g x - c x^3: third harmonic c X^3 / 4, fundamental g X - 3 c X^3 / 4 (exact)."""
GAIN = 10.0


def transfer(x: np.ndarray) -> np.ndarray:
    return GAIN * x - BEND * 100 * x**3


def played(levels: list[float], seconds: float = 1.0, lead_s: float = 0.0) -> np.ndarray:
    parts = [np.zeros(round(lead_s * RATE))]
    parts += [np.full(round(seconds * RATE), np.sqrt(2) * level) for level in levels]
    envelope = np.concatenate(parts)
    return envelope * np.sin(2 * np.pi * 1000 * np.arange(len(envelope)) / RATE)


def recorded(wave: np.ndarray, noise: float = 1e-5) -> Track:
    rng = np.random.default_rng(3)
    return Track(transfer(wave) + noise * rng.standard_normal(len(wave)), RATE, 40.0, 0.003)


def stepped(*, generator: bool = False, lead_s: float = 0.3, **kept: object) -> CaptureData:
    wave = played(DRIVES, lead_s=lead_s)
    stimulus = Steps(steps_hz=1000.0, step_s=1.0, levels_vrms=kept.pop("levels", DRIVES))
    return CaptureData(
        stimulus, Conditions(load_ohm=8.0), {1: recorded(wave)},
        generator=Track(wave, RATE, 2.0, 0.003) if generator else None,
        load_uncertainty=0.005, generator_uncertainty=0.005, mains_hz=50.0,
    )  # fmt: skip


def of(findings: list[Finding], metric: str) -> list[Finding]:
    return [f for f in findings if f.metric.name == metric]


@pytest.mark.parametrize("generator", [False, True])
def test_closed_form_of_a_cubic_at_every_step(generator: bool) -> None:
    findings, _ = measure(stepped(generator=generator))
    result = of(findings, "thd")
    assert [f.generator_vrms for f in result] == DRIVES
    for f, drive in zip(result, DRIVES, strict=True):
        x = np.sqrt(2) * drive
        third, first = BEND * 100 * x**3 / 4, GAIN * x - 0.75 * BEND * 100 * x**3
        assert f.figure is not None
        assert f.figure.value == pytest.approx(100 * third / first, rel=2e-3)
        assert f.power_w == pytest.approx(first**2 / 2 / 8, rel=1e-3)


def test_the_same_levels_in_files_of_their_own_read_alike() -> None:
    """Independent way to the same figures: no step has to be found."""
    findings, _ = measure(stepped())
    for drive in DRIVES:
        alone = CaptureData(
            Tone(tone_hz=1000.0, generator_vrms=drive), Conditions(load_ohm=8.0),
            {1: recorded(played([drive]))}, load_uncertainty=0.005, generator_uncertainty=0.005,
            mains_hz=50.0,
        )  # fmt: skip
        for single in measure(alone)[0]:
            if single.metric.name not in {"level", "gain", "output_power", "thd"}:
                continue
            (both,) = [
                f for f in of(findings, single.metric.name)
                if f.generator_vrms == drive
            ]  # fmt: skip
            assert single.figure is not None
            assert both.figure is not None
            assert both.figure.value == pytest.approx(single.figure.value, rel=2e-3)


def test_other_steps_than_stated_are_refused() -> None:
    findings, _ = measure(stepped(levels=[0.6, 0.5, 0.35, 0.2, 0.1]))
    assert {f.status for f in findings} == {"rejected"}
    assert "aren't the stated steps" in (findings[0].reason or "")


def test_recorded_generator_steps_are_held_within_a_decibel() -> None:
    findings, _ = measure(stepped(generator=True, levels=[0.1, 0.2, 0.3, 0.5, 0.6]))
    assert {f.status for f in findings} == {"rejected"}


def test_a_step_that_clips_the_converter_is_refused_alone() -> None:
    wave = played(DRIVES)
    clipped = Track(np.clip(transfer(wave), -6.5, 6.5), RATE, 6.5, 0.003)
    capture_data = CaptureData(
        Steps(steps_hz=1000.0, step_s=1.0, levels_vrms=DRIVES), Conditions(load_ohm=8.0),
        {1: clipped}, mains_hz=50.0,
    )  # fmt: skip
    result = of(measure(capture_data)[0], "level")
    assert [f.status for f in result[:3]] == ["measured"] * 3
    assert result[-1].status == "rejected"
    assert "clipped" in (result[-1].reason or "")


LATE_OR_EARLY = [(0.6, 5.1), (0.9, 5.1), (1.2, 5.1), (0.0, 4.6), (0.0, 4.3), (0.0, 4.1)]


@pytest.mark.parametrize("generator", [False, True])
@pytest.mark.parametrize("kept_s", LATE_OR_EARLY)
def test_a_record_without_all_of_its_steps_is_refused(
    kept_s: tuple[float, float], generator: bool
) -> None:
    """Otherwise levels would stand at the drives of others: a gain wrong by a step."""
    taken = cut_to(stepped(generator=generator, lead_s=0.1), *kept_s)
    findings, _ = measure(taken)
    assert {f.status for f in findings} == {"rejected"}


@pytest.mark.parametrize("kept_s", [(0.05, 5.1), (0.25, 5.1), (0.0, 4.95)])
def test_a_little_of_the_first_or_last_step_may_be_missing(kept_s: tuple[float, float]) -> None:
    findings, _ = measure(cut_to(stepped(lead_s=0.1), *kept_s))
    gains = [f.figure.value for f in of(findings, "gain") if f.figure is not None]
    whole = [f.figure.value for f in of(measure(stepped())[0], "gain") if f.figure is not None]
    assert gains == pytest.approx(whole, abs=1e-3)


def test_a_record_that_begins_late_is_refused_where_the_output_is_limited() -> None:
    """The last levels are alike there: what is missing at the beginning could be taken from
    them."""
    drives = [0.1, 0.2, 0.4, 0.8, 1.2, 1.8]
    wave = np.clip(played(drives), -0.4, 0.4)
    assert len(of(measure(limited(wave, drives))[0], "gain")) == len(drives)
    late = wave[round(1.1 * RATE) :]
    assert {f.status for f in measure(limited(late, drives))[0]} == {"rejected"}


def limited(wave: np.ndarray, drives: list[float]) -> CaptureData:
    volts = 10 * wave + 1e-5 * np.random.default_rng(3).standard_normal(len(wave))
    return CaptureData(
        Steps(steps_hz=1000.0, step_s=1.0, levels_vrms=drives), Conditions(load_ohm=8.0),
        {1: Track(volts, RATE, 40.0, 0.003)}, mains_hz=50.0,
    )  # fmt: skip


def cut_to(taken: CaptureData, begin_s: float, end_s: float) -> CaptureData:
    kept = slice(round(begin_s * RATE), round(end_s * RATE))
    cut = lambda track: replace(track, volts=track.volts[kept])  # noqa: E731
    outputs = {n: cut(track) for n, track in taken.outputs.items()}
    generator = None if taken.generator is None else cut(taken.generator)
    return replace(taken, outputs=outputs, generator=generator)
