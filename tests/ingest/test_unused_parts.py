"""Tracks and columns of a file that nothing in the manifest uses are named."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import soundfile

from backbench.bench_day.session_check import check
from backbench.catalogue import Catalogue
from faults.small_catalogue import MANIFEST, small_catalogue

TRACE = """
[[capture]]
file = "{file}"
of = {{ unit = "unit-of-one", output = "{output}" }}
stimulus = {{ table = "trace", tone_hz = 1000, columns = {{ time = {{ name = "t", unit = "s" }}, \
voltage = {{ name = "{column}", unit = "V" }} }} }}
"""


def session(home: Path) -> tuple[Catalogue, Path]:
    """A review of one output: a recording of three tracks, a trace and a file of two outputs."""
    catalogue, folder = small_catalogue(home / "catalogue"), home / "one"
    folder.mkdir()
    rng = np.random.default_rng(5)
    time = np.arange(48_000) / 48_000
    volts = np.sin(2000 * np.pi * time) / 2 + rng.normal(0, 1e-5, len(time))
    soundfile.write(folder / "tone.wav", np.stack([volts, volts / 9, 0 * volts], axis=1), 48_000,
                    subtype="PCM_24")  # fmt: skip
    pl.DataFrame({"t": time[:2000], "a": volts[:2000], "b; c": volts[:2000] / 3}).write_parquet(
        folder / "trace.parquet"
    )
    pl.DataFrame({"t": time[:2000], "a": volts[:2000], "b": volts[:2000] / 3}).write_csv(
        folder / "both.csv"
    )
    own = MANIFEST.format(key="one", version=1, drive=0.3).split('[[capture]]\nfile = "response')[0]
    traces = TRACE.format(file="trace.parquet", output="out", column="a")
    for output, column in (("left", "a"), ("right", "b")):
        traces += TRACE.format(file="both.csv", output=output, column=column)
    (folder / "review.toml").write_text(own + traces)
    return catalogue, folder


def test_unused_parts_are_named_by_check(tmp_path: Path) -> None:
    catalogue, folder = session(tmp_path)
    checked = check(folder, catalogue.places.settings)
    assert checked.ended is not None
    assert checked.ended.unused == (
        "tone.wav: the file holds 2 tracks not used here: 2, 3",
        "trace.parquet: the file holds 1 column not declared here: 'b, c'",
    )
    assert checked.sound
