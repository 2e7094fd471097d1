"""What must hold for the whole battery of a tone and of an idle capture, metric by metric."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.metrics.declaration import CaptureData
from backbench.metrics.measurement import Finding, measure
from backbench.metrics.registry import registry
from backbench.signal.track import Track
from tones import idle_material, sines, tone_material, track

RATE = 96_000.0
SOME = settings(max_examples=8, deadline=None)
LEVELS = {"V", "V/√Hz"}
Key = tuple[str, int, int | None]


def tone(seed: int, seconds: float = 0.7) -> np.ndarray:
    rng = np.random.default_rng(seed)
    hz = 1012 * (1 + rng.uniform(-1e-3, 1e-3))
    volts = sines(RATE, seconds, {hz: 1.0, 2 * hz: 1e-2, 3 * hz: 3e-3, 12 * hz: 1e-3})
    return volts + rng.normal(0, 1e-4, len(volts))


def idle(seed: int, seconds: float = 1.2) -> np.ndarray:
    rng = np.random.default_rng(seed)
    mains = 50 * (1 + rng.uniform(-2e-3, 2e-3))
    volts = sines(RATE, seconds, {mains: 1e-3, 2 * mains: 5e-4, 6 * mains: 2e-4})
    return volts + rng.normal(0, 1e-4, len(volts))


def capture_data(kind: str, *outputs: Track) -> CaptureData:
    return tone_material(*outputs, hz=1012.0) if kind == "tone" else idle_material(*outputs)


MAKERS = {"tone": tone, "idle": idle}
KINDS = pytest.mark.parametrize("kind", ["tone", "idle"])


def findings(given_: CaptureData) -> dict[Key, Finding]:
    return {
        (f.metric.name, f.track, f.figure.order if f.figure else None): f
        for f in measure(given_)[0]
    }


@KINDS
@SOME
@given(seed=st.integers(0, 999), factor=st.floats(0.05, 8))
def test_scaling_scales_levels_and_nothing_else(kind: str, seed: int, factor: float) -> None:
    volts = MAKERS[kind](seed)
    one, other = (findings(capture_data(kind, track(k * volts, RATE))) for k in (1.0, factor))
    assert one.keys() == other.keys()
    for key, finding in one.items():
        if finding.figure is None:
            assert other[key].reason == finding.reason
            continue
        figure, scaled = finding.figure, other[key].figure
        assert scaled is not None
        times = factor if finding.metric.unit in LEVELS else 1.0
        assert scaled.value == pytest.approx(times * figure.value, rel=1e-6, abs=1e-9), key
        assert scaled.uncertainty == pytest.approx(times * figure.uncertainty, rel=1e-5, abs=1e-12)
        assert (scaled.bound, scaled.remark) == (figure.bound, figure.remark), key


@KINDS
@SOME
@given(seed=st.integers(0, 999))
def test_swapping_tracks_swaps_findings(kind: str, seed: int) -> None:
    a, b = (track(MAKERS[kind](seed + n), RATE) for n in (0, 1000))
    ahead, behind = findings(capture_data(kind, a, b)), findings(capture_data(kind, b, a))
    for (name, number, order), finding in ahead.items():
        assert behind[name, 3 - number, order].figure == finding.figure
        assert behind[name, 3 - number, order].reason == finding.reason


@KINDS
@SOME
@given(seed=st.integers(0, 999), cut=st.integers(1, 9000), head=st.booleans())
def test_trimming_changes_no_figure_beyond_its_uncertainty(
    kind: str, seed: int, cut: int, head: bool
) -> None:
    """By no more than k = 3 of both: the records share most of their samples."""
    volts = MAKERS[kind](seed)
    whole = findings(capture_data(kind, track(volts, RATE)))
    part = findings(capture_data(kind, track(volts[cut:] if head else volts[:-cut], RATE)))
    for key in whole.keys() & part.keys():
        one, other = whole[key].figure, part[key].figure
        if one is None or other is None or one.bound or other.bound:
            continue
        both = math.hypot(one.uncertainty, other.uncertainty)
        assert abs(one.value - other.value) <= 3 * both + 1e-12, key


@SOME
@given(seed=st.integers(0, 999), decibels=st.floats(-70, -30))
def test_known_noise_moves_every_noise_figure_by_the_right_amount(
    seed: int, decibels: float
) -> None:
    """White noise added in power: a flat reading, a weighted one, hiss and SNR alike."""
    rms = 10 ** (decibels / 20)
    added = np.random.default_rng(seed + 5000).normal(0, rms, int(1.2 * RATE))
    quiet = np.random.default_rng(seed).normal(0, 1e-3, len(added))
    before = findings(idle_material(track(quiet, RATE)))
    after = findings(idle_material(track(quiet + added, RATE)))
    for name in ("noise", "noise_a", "noise_468", "noise_arm", "noise_ccir_rms", "hiss"):
        one, other = before[name, 1, None].figure, after[name, 1, None].figure
        assert one is not None
        assert other is not None
        ratio = math.hypot(1, rms / 1e-3)
        u = math.hypot(other.uncertainty / other.value, one.uncertainty / one.value)
        assert abs(other.value / one.value / ratio - 1) < 5 * u, name


def test_every_metric_of_a_tone_and_of_an_idle_capture_is_looked_at() -> None:
    for kind, make in MAKERS.items():
        names = {name for name, _, _ in findings(capture_data(kind, track(make(1), RATE)))}
        every = registry().measured_from(kind)
        played = {m.name for m in every if m.traits.only_with == "played source"}
        # Those need a stimulus that states the file that was played.
        assert names | played == {metric.name for metric in every}
