from __future__ import annotations

import numpy as np
import pytest

from backbench.documents.manifest import by_marker
from backbench.documents.validation import parse_toml
from backbench.seed_dataset.burst import Burst
from backbench.seed_dataset.idle import Idle
from backbench.seed_dataset.multitone import Multitone
from backbench.seed_dataset.square import Square
from backbench.seed_dataset.stimulus import Stimulus
from backbench.seed_dataset.sweep import Sweep
from backbench.seed_dataset.tone import Tone
from backbench.seed_dataset.two_tones import TwoTones

ALL: list[Stimulus] = [
    Tone(1000.0, 0.5), Idle(), Sweep(0.1), TwoTones(19_000, 20_000, 1.0, 0.5),
    Square(1000.0, 1.0), Multitone((2, 5, 11, 23, 50), 20.0, 0.3), Burst(1000.0, 0.5),
]  # fmt: skip


@pytest.mark.parametrize("stimulus", ALL, ids=lambda s: type(s).__name__)
def test_a_stimulus_describes_itself_as_the_manifest_wants_it(stimulus: Stimulus) -> None:
    content = parse_toml(f"s = {stimulus.toml()}".encode(), "review.toml")["s"]
    floats = {
        k: [float(x) for x in v] if isinstance(v, list) else float(v) if k != "idle" else v
        for k, v in content.items()
    }
    by_marker(floats)


def test_two_tones_have_the_total_rms_and_ratio() -> None:
    volts = TwoTones(60, 7000, 4.0, 0.5, seconds=0.5).generator(1.0)
    lines = np.abs(np.fft.rfft(volts)) / len(volts) * 2
    low, high = lines[30], lines[3500]
    assert low / high == pytest.approx(4.0, rel=1e-9)
    assert np.hypot(low, high) / np.sqrt(2) == pytest.approx(0.5, rel=1e-9)


def test_multitone_lines_are_equal_and_their_peak_is_moderate() -> None:
    tones = tuple(range(1, 33))
    volts = Multitone(tones, 100.0, 1.0, seconds=0.5).generator(1.0)
    lines = np.abs(np.fft.rfft(volts)) / len(volts) * 2
    assert lines[[50 * k for k in tones]] == pytest.approx(np.sqrt(2 / 32), rel=1e-9)
    assert np.sqrt(np.mean(volts**2)) == pytest.approx(1.0, rel=1e-9)
    assert np.max(np.abs(volts)) < 2.5


def test_square_has_its_levels_between_the_edges() -> None:
    volts = Square(1000.0, 2.0).generator(1.0)[:192]
    assert np.median(volts[10:90]) == pytest.approx(1.0, abs=0.03)
    assert np.median(volts[106:186]) == pytest.approx(-1.0, abs=0.03)


def test_sweep_starts_and_ends_in_silence() -> None:
    volts = Sweep(1.0).generator(1.0)
    assert np.max(np.abs(volts[:1500])) < 1e-3
    assert np.max(np.abs(volts[-9600:])) < 1e-3
    assert np.max(np.abs(volts)) == pytest.approx(np.sqrt(2), rel=0.02)
