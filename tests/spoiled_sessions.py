"""Sessions spoiled as they are spoiled at a bench, from a sound one of twelve captures."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import soundfile

from backbench.signal.track import Array

SOURCE = Path(__file__).parents[1] / "seed_dataset" / "example_review"
KEPT = (
    "idle.flac", "tone-1k-1w.flac", "tone-1k-2p4w.flac", "tone-1k-5w.flac", "tone-1k-open.flac",
    "tone-1k-4ohm.flac", "only-left-1k.flac", "only-right-1k.flac", "square-1k.flac",
    "loop-back-1k.flac", "trace-10k-left.csv", "trace-10k-right.csv",
)  # fmt: skip
REVIEW = "2019-09-halyard-20"
Spoil = Callable[[Path], None]


def sound_session(folder: Path) -> Path:
    """A folder with the captures that are kept, written on the day of the review and later."""
    folder.mkdir(parents=True)
    head, *captures = re.split(r"(?m)^(?=\[\[capture\]\])", (SOURCE / "review.toml").read_text())
    kept = [text for text in captures if any(f'file = "{name}"' in text for name in KEPT)]
    (folder / "review.toml").write_text(head + "".join(kept))
    for name in KEPT:
        shutil.copy(SOURCE / name, folder / name)
    return folder


def stated(file: str, old: str, new: str) -> Spoil:
    """A statement of one capture's entry replaced."""

    def spoil(folder: Path) -> None:
        path = folder / "review.toml"
        head, *captures = re.split(r"(?m)^(?=\[\[capture\]\])", path.read_text())
        changed = [
            text.replace(old, new) if f'file = "{file}"' in text else text for text in captures
        ]
        assert changed != captures
        path.write_text(head + "".join(changed))

    return spoil


def everywhere(old: str, new: str) -> Spoil:
    """A statement of the manifest replaced wherever it stands."""

    def spoil(folder: Path) -> None:
        path = folder / "review.toml"
        text = path.read_text()
        assert old in text
        path.write_text(text.replace(old, new))

    return spoil


def recorded(file: str, change: Callable[[Array, int], tuple[Array, int]]) -> Spoil:
    """The samples of a recording, and its rate, changed."""

    def spoil(folder: Path) -> None:
        samples, rate = soundfile.read(folder / file, always_2d=True)
        after, rate = change(samples, rate)
        soundfile.write(folder / file, np.clip(after, -1, 1 - 2**-23), rate, subtype="PCM_24")

    return spoil


def swapped(one: str, other: str) -> Spoil:
    """Two files under each other's name."""

    def spoil(folder: Path) -> None:
        (folder / one).rename(folder / "aside")
        (folder / other).rename(folder / one)
        (folder / "aside").rename(folder / other)

    return spoil


def removed(file: str) -> Spoil:
    return lambda folder: (folder / file).unlink()


def renamed(file: str, to: str) -> Spoil:
    return lambda folder: (folder / file).rename(folder / to) and None


def cut_off(file: str, share: float) -> Spoil:
    """A file whose end is missing."""

    def spoil(folder: Path) -> None:
        data = (folder / file).read_bytes()
        (folder / file).write_bytes(data[: int(len(data) * share)])

    return spoil


def replaced(file: str, data: bytes) -> Spoil:
    def spoil(folder: Path) -> None:
        (folder / file).write_bytes(data)

    return spoil


def written_before(day: str) -> Spoil:
    """Every file last written on an earlier day."""

    def spoil(folder: Path) -> None:
        when = datetime.fromisoformat(day).replace(tzinfo=UTC).timestamp()
        for path in folder.iterdir():
            os.utime(path, (when, when))

    return spoil


def gap(samples: Array, rate: int) -> tuple[Array, int]:
    samples = samples.copy()
    samples[int(0.2 * rate) : int(0.23 * rate)] = 0
    return samples, rate


def instead_a_tone(hz: float) -> Callable[[Array, int], tuple[Array, int]]:
    """Another tone in place of what was recorded."""

    def change(samples: Array, rate: int) -> tuple[Array, int]:
        time = np.arange(len(samples)) / rate
        level = np.array([0.3, 0.29])
        noise = 1e-5 * np.random.default_rng(1).standard_normal(samples.shape)
        return level * np.sin(2 * np.pi * hz * time)[:, None] + noise, rate

    return change


def music(samples: Array, rate: int) -> tuple[Array, int]:
    """Notes that begin and die away, in place of what was recorded."""
    random = np.random.default_rng(5)
    time = np.arange(len(samples)) / rate
    made = np.zeros(len(samples))
    for begin in np.arange(0, time[-1], 0.12):
        hz = 220 * 2 ** (random.integers(0, 24) / 12)
        after = np.clip(time - begin, 0, None)
        made += (time >= begin) * np.exp(-4 * after) * np.sin(2 * np.pi * hz * after)
    return 0.3 * np.stack([made, 0.8 * made], axis=1), rate


def one_track_silent(samples: Array, rate: int) -> tuple[Array, int]:
    return samples * np.array([1.0, 0.0]), rate


def of_eight_bits(samples: Array, rate: int) -> tuple[Array, int]:
    return np.round(samples * 128) / 128, rate


def crossed(samples: Array, rate: int) -> tuple[Array, int]:
    return samples[:, ::-1], rate


def mono_pair_with_one_crossed(folder: Path) -> None:
    """Two units of one model, whose cables were exchanged while only the left one was driven."""
    path = folder / "review.toml"
    text = path.read_text()
    unit = re.search(r"(?ms)^\[\[unit\]\].*?(?=^\[tracks\])", text)
    assert unit is not None
    pair = "".join(
        unit[0].replace('"halyard-20"', f'"halyard-20-{side}"').replace("H82689", f"H8268-{side}")
        for side in ("left", "right")
    )
    text = text.replace(unit[0], pair)
    for side in ("left", "right"):
        text = text.replace(f'unit = "halyard-20", output = "{side}"',
                            f'unit = "halyard-20-{side}", output = "{side}"')  # fmt: skip
    path.write_text(text)
    recorded("only-left-1k.flac", crossed)(folder)


SPOILED: dict[str, tuple[Spoil, str, str]] = {
    "range stated too low": (
        stated("tone-1k-5w.flac", '"50 V"', '"5 V"'), "tone-1k-5w.flac",
        "check their drive, range and load"),
    "load stated wrongly": (
        stated("tone-1k-4ohm.flac", "load_ohm = 4", "load_ohm = 8"), "tone-1k-4ohm.flac",
        "check their drive"),
    "open and 4 ohm exchanged": (
        swapped("tone-1k-open.flac", "tone-1k-4ohm.flac"), "tone-1k-open.flac", "exchanged"),
    "power off by 1.5 dB": (
        stated("tone-1k-5w.flac", '"50 V"', '"50 V", power_w = 7'), "", "W is stated"),
    "power off by 3 dB": (
        stated("tone-1k-5w.flac", '"50 V"', '"50 V", power_w = 10'), "tone-1k-5w.flac",
        "check level, load, range"),
    "rate of the header wrong": (
        recorded("tone-1k-5w.flac", lambda s, rate: (s, 44100)), "tone-1k-5w.flac",
        "if the sample rate were"),
    "left and right crossed": (
        recorded("only-left-1k.flac", lambda s, rate: (s[:, ::-1], rate)), "only-left-1k.flac",
        "tracks swapped?"),
    "clipped": (
        recorded("tone-1k-5w.flac", lambda s, rate: (s * 20, rate)), "tone-1k-5w.flac",
        "use a wider input range"),
    "gap in the tone": (
        recorded("tone-1k-5w.flac", gap), "tone-1k-5w.flac", "drops out within the record"),
    "file missing": (removed("tone-1k-5w.flac"), "tone-1k-5w.flac", "no such file"),
    "file misnamed": (
        renamed("tone-1k-5w.flac", "tone-1k-5-w.flac"), "tone-1k-5w.flac", "no such file"),
    "waves of another plan": (
        stated("tone-1k-5w.flac", "0.207", "0.0925"), "tone-1k-5w.flac",
        "check their drive, range and load"),
    "date after the files": (written_before("2019-08-01"), "", "correct the date"),
    "date before any calibration": (
        everywhere("date = 2019-09-12", "date = 2012-01-01"), "bench", "2012-01-01"),
    "silence": (
        recorded("tone-1k-5w.flac", lambda s, rate: (0 * s, rate)), "tone-1k-5w.flac",
        "every sample is the same"),
    "file cut off": (
        cut_off("tone-1k-5w.flac", 0.5), "tone-1k-5w.flac", "damaged audio"),
    "one track copied": (
        recorded("tone-1k-5w.flac", lambda s, rate: (s[:, [0, 0]], rate)), "tone-1k-5w.flac",
        "bit-identical"),
    "one track only": (
        recorded("tone-1k-5w.flac", lambda s, rate: (s[:, :1], rate)), "tone-1k-5w.flac",
        "record every track"),
    "another tone": (
        recorded("tone-1k-5w.flac", instead_a_tone(3000)), "tone-1k-5w.flac",
        "check what was played"),
    "a tone in place of idle": (
        recorded("idle.flac", instead_a_tone(1000)), "idle.flac",
        "generator was off"),
    "mains stated wrongly": (
        everywhere("mains_hz = 50", "mains_hz = 60"), "idle.flac", "correct mains_hz"),
    "direct voltage": (
        recorded("tone-1k-5w.flac", lambda s, rate: (s + 0.01, rate)), "", "voice coil"),
    "range that isn't calibrated": (
        stated("tone-1k-5w.flac", '"50 V"', '"500 V"'), "tone-1k-5w.flac", "500 V"),
    "music in place of idle": (recorded("idle.flac", music), "idle.flac", "generator was off"),
    "one track silent": (
        recorded("tone-1k-5w.flac", one_track_silent), "tone-1k-5w.flac",
        "every sample is the same"),
    "word length lost": (
        recorded("tone-1k-5w.flac", of_eight_bits), "tone-1k-5w.flac",
        "record with 16 bits or more"),
    "another input": (
        recorded("tone-1k-5w.flac", lambda s, rate: (s / 80, rate)), "tone-1k-5w.flac",
        "check their drive, range and load"),
    "another stimulus": (
        swapped("tone-1k-5w.flac", "square-1k.flac"), "square-1k.flac", "check what was played"),
    "mono pair crossed": (mono_pair_with_one_crossed, "only-left-1k.flac", "tracks swapped?"),
    "text in place of a recording": (
        replaced("tone-1k-5w.flac", b"notes of the day\n"), "tone-1k-5w.flac",
        "expected an audio recording"),
    "column of a table missing": (
        stated("trace-10k-left.csv", 'name = "volts"', 'name = "volt"'), "trace-10k-left.csv",
        "no column 'volt'"),
}  # fmt: skip
"""By name: what spoils it, where the fault is told ("" for a warning), words of the reason."""
