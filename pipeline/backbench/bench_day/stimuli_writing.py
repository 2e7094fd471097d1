"""Stimulus files on their way to the disk: what may have been played is never changed."""

from __future__ import annotations

import io
import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from backbench.bench_day.run_files import Run, run_text
from backbench.signal.track import Array
from backbench.storage.atomic_io import make_folder, write_text_file, write_user_file

SUBTYPES = {16: "PCM_16", 24: "PCM_24", 32: "FLOAT"}


@dataclass(frozen=True)
class Format:
    rate_hz: int
    bits: int


@dataclass
class NewFiles:
    """Files to write, and those (kept) that stay as they are beside a new one.

    equal: of the files to write, those that hold the same already.
    """

    form: Format
    samples: dict[Path, Array] = field(default_factory=dict)
    layouts: dict[Path, str] = field(default_factory=dict)
    kept: list[Path] = field(default_factory=list)
    equal: set[Path] = field(default_factory=set)

    def replace(self, path: Path, samples: Array) -> None:
        """A file that may be written over."""
        self.samples[path] = samples

    def beside(self, path: Path, samples: Array) -> Path:
        """The file of these samples: the one that is there, or one of a free name."""
        for place in _numbered(path):
            if not place.exists() or self._is_equal(place, samples):
                self.samples[place] = samples
                return place
            self.kept.append(place)
        raise AssertionError("the numbers don't end")

    def run(self, folder: Path, made: tuple[Array, Run]) -> None:
        """A run with its layout: those that are there, or both of a free name."""
        samples, run = made
        for place in _numbered(folder / f"{run.name}.wav"):
            layout = place.with_suffix(".toml")
            text = run_text(run.model_copy(update={"name": place.stem}))
            free = not place.exists() and not layout.exists()
            if free or (_text_of(layout) == text and self._is_equal(place, samples)):
                self.samples[place], self.layouts[layout] = samples, text
                return
            self.kept.append(place)

    def write(self) -> None:
        """All files, in a folder made for them; those that hold the same already stay untouched."""
        for folder in sorted({path.parent for path in self.samples}):
            make_folder(folder)
        for path, samples in self.samples.items():
            if path not in self.equal and not self._is_equal(path, samples):
                write_user_file(path, self._sound(samples))
        for path, text in self.layouts.items():
            write_text_file(path, text)

    def _is_equal(self, path: Path, samples: Array) -> bool:
        """Whether a file holds just these samples in this format, which is then noted."""
        import soundfile

        if not path.exists():
            return False
        try:
            there, rate = soundfile.read(path, dtype="float64")
        except soundfile.LibsndfileError:
            return False
        same_format = (rate, soundfile.info(path).subtype) == (
            self.form.rate_hz, SUBTYPES[self.form.bits],
        )  # fmt: skip
        made = io.BytesIO(self._sound(samples))
        if same_format and np.array_equal(there, soundfile.read(made, dtype="float64")[0]):
            self.equal.add(path)
        return path in self.equal

    def _sound(self, samples: Array) -> bytes:
        """A WAV file of these samples."""
        import soundfile

        made = io.BytesIO()
        kept = _dithered(samples, self.form.bits)
        subtype = SUBTYPES[self.form.bits]
        soundfile.write(made, kept, self.form.rate_hz, subtype=subtype, format="WAV")
        return made.getvalue()


def _numbered(path: Path) -> Iterator[Path]:
    """The path itself, then with -2, -3, … at the end of its name."""
    yield path
    for number in itertools.count(2):
        yield path.with_name(f"{path.stem}-{number}{path.suffix}")


def _text_of(path: Path) -> str | None:
    return path.read_text(encoding="utf-8") if path.exists() else None


def _dithered(samples: Array, bits: int) -> Array:
    """Triangular dither of one step each way, the same every time; none for floating point."""
    if bits == 32:
        return samples
    rng = np.random.default_rng(bits)
    step = 2.0 ** -(bits - 1)
    noise = (rng.random(len(samples)) - rng.random(len(samples))) * step
    return np.asarray(np.clip(samples + noise, -1.0, 1.0 - step))
