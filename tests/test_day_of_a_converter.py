"""A converter's day from `new` to the sheet: its figures beside what was put into the simulator."""

from __future__ import annotations

import math
import re
import tomllib
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import soundfile

import golden_readings
from backbench.bench_day.planned_capture import capture_table, capture_text, read_plan
from backbench.bench_day.run_files import read_run
from backbench.catalogue import Catalogue
from backbench.seed_dataset.player import FILE_HZ, RATE, Player
from commands_run import run
from sheet_text import sheet_text

PLAYER = Player()
FULL_SCALES_V = {"100 mV": 0.1, "5 V": 5.0}
BENCH = """
title = "A day on the bench"
[bench.garage]
load_uncertainty_percent = 0.5
generator_uncertainty_percent = 0.5
[quantity.mains_draw]
title = "Mains draw at idle"
unit = "W"
better = "lower"
uncertainty = "0.2 W"
""" + "".join(
    f"""
[[bench.garage.calibration]]
since = 2024-01-01
range = "{name}"
volts_peak_at_full_scale = {{ 1 = {volts} }}
uncertainty_percent = 0.3
"""
    for name, volts in FULL_SCALES_V.items()
)
DRAW = """
[[entered]]
metric = "Mains draw at idle"
unit = "plover-2"
output = "both"
value = "11.5 W"
origin = "meter"
"""


def low_levels_off(samples: np.ndarray, layout: Path) -> np.ndarray:
    """What the converter makes of the steps more than 70 dB below full scale."""
    samples = samples.copy()
    for one in read_run(layout).segment:
        assert one.step is not None
        db = getattr(one.step.stimulus, "full_scale_db", None)
        if db is not None and db < -70:
            part = slice(round((one.from_s - 0.4) * FILE_HZ), round((one.to_s + 0.1) * FILE_HZ))
            samples[part] *= 10 ** (PLAYER.step_error_db / 20)
    return samples


def record(review: Path, waves: Path, root: Path) -> list[Path]:
    plan = tomllib.loads((review / "plan.toml").read_text())
    steps = {step["file"]: step["conditions"] for step in plan["step"]}
    made = []
    for layout in sorted(waves.glob("run-*.toml")):
        own = steps[read_run(layout).segment[0].file]
        played, rate = soundfile.read(layout.with_suffix(".wav"))
        assert rate == FILE_HZ
        volts = PLAYER.plays(low_levels_off(played, layout))
        made.append(root / f"recorded-{layout.stem}.wav")
        full = FULL_SCALES_V[own["range"]]
        soundfile.write(made[-1], np.clip(volts / full, -1, 1), RATE, subtype="PCM_24")
    silence = PLAYER.plays(np.zeros(2 * FILE_HZ)) / FULL_SCALES_V["100 mV"]
    soundfile.write(review / "idle.wav", silence, RATE, subtype="PCM_24")
    alone = 1e-7 * np.random.default_rng(5).standard_normal(2 * RATE) / 0.1
    soundfile.write(review / "loop-back-idle-100mv-range.wav", alone, RATE, subtype="FLOAT")
    return made


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("day")
    home, review, waves = root / "catalogue", root / "2024-06-plover", root / "waves"
    run("init", home)
    (home / "backbench.toml").write_text(BENCH)
    run("new", review, "--unit", "plover-2", "--maker", "Marrowgate", "--model", "Plover 2",
        "--kind", "converter", "--technology", "solid state", "--state", "as received",
        "--date", "2024-06-11", "--mains-hz", "50", "--output", "left", "-c", home)  # fmt: skip
    run("plan", review, "--rate", str(RATE), "-c", home)
    plan = review / "plan.toml"
    plan.write_text(plan.read_text().replace("record_s = 10.0", "record_s = 2.0"))
    run("stimuli", review, waves, "--rate", str(FILE_HZ), "--bits", "16")
    for recording in record(review, waves, root):
        layout = waves / f"{recording.stem.removeprefix('recorded-')}.toml"
        run("cut", recording, layout, review)
    manifest = review / "review.toml"
    planned = read_plan(review)
    assert planned is not None
    entries = [capture_text(capture_table(step)) for step in planned.step]
    manifest.write_text("\n".join([manifest.read_text(), *entries, DRAW]))
    run("ingest", review, "--direct", "--processes", "1", "-c", home, codes=(0, 3))
    return root


@pytest.fixture(scope="module")
def readings(day: Path) -> pl.DataFrame:
    return Catalogue(day / "catalogue").readings().filter(pl.col("output") == "left")


def figure(readings: pl.DataFrame, metric: str, detail: str = "", **where: object) -> dict:  # type: ignore[type-arg]
    chosen = readings.filter(
        pl.col("metric") == metric, pl.col("value").is_not_null(),
        pl.col("detail").str.contains(detail, literal=True),
        *(pl.col(name) == wanted for name, wanted in where.items()),
    )  # fmt: skip
    assert chosen.height == 1, (metric, chosen)
    return chosen.to_dicts()[0]


def test_every_planned_capture_is_measured(day: Path) -> None:
    captures = Catalogue(day / "catalogue").captures()
    assert captures.filter(pl.col("status") == "failed").select("file", "reason").rows() == []
    planned = (day / "2024-06-plover" / "plan.toml").read_text().count("[[step]]")
    assert captures.height == planned == 13


def test_golden(readings: pl.DataFrame) -> None:
    golden_readings.agree("converter", readings)


def test_levels_re_full_scale(readings: pl.DataFrame) -> None:
    """The low levels were played 0.3 dB too loud; calibrations of two ranges are 0.3 % each."""
    for db, error in (
        (-20, 0.0),
        (-60, 0.0),
        (-80, PLAYER.step_error_db),
        (-90, PLAYER.step_error_db),
    ):
        found = figure(readings, "level_error", f"{db} dB re")
        assert abs(found["value"] - error) < 2.5 * found["uncertainty"] + 1e-3, (db, found)
    linearity = figure(readings, "level_linearity")
    assert linearity["value"] == pytest.approx(
        PLAYER.step_error_db, abs=3 * linearity["uncertainty"]
    )


def test_dynamic_range_is_that_of_16_bits_with_dither(readings: pl.DataFrame) -> None:
    """q^2/4 of rounding and dither over half the rate, as in the closed form; the network's
    weighting of white noise is +1.67 dB, that of A -2.05 dB (computed from the curves)."""
    plain = 20 * math.log10(2**15 / math.sqrt(2) / math.sqrt(0.25 * 20 / 22.05))
    for weighting, gain in (("none", 0.0), ("A", -2.05), ("CCIR-RMS", 1.67)):
        found = figure(readings, "dynamic_range", f'"{weighting}"')
        assert found["value"] == pytest.approx(plain - gain, abs=0.25), weighting


def test_silence_shows_the_hiss_alone(readings: pl.DataFrame) -> None:
    expected = 20 * math.log10(PLAYER.hiss_v * math.sqrt(19_980 / (RATE / 2)) / PLAYER.full_v)
    found = figure(readings, "silence_noise", '"none"')
    assert found["value"] == pytest.approx(expected, abs=0.2)


def test_jitter_and_image(readings: pl.DataFrame) -> None:
    jitter = figure(readings, "sampling_jitter", frequency_hz=FILE_HZ / 4)
    assert jitter["value"] == pytest.approx(PLAYER.jitter_s, rel=0.02)
    low, high = PLAYER.gain_at(20_000.0, FILE_HZ - 20_000.0)
    image = figure(readings, "sampling_image", frequency_hz=20_000.0)
    assert image["value"] == pytest.approx(20 * math.log10(high / low), abs=0.05)


def test_response_of_the_filter(readings: pl.DataFrame) -> None:
    low, high = PLAYER.gain_at(997.0, 20_000.0)
    found = figure(readings, "played_response", frequency_hz=20_000.0)
    assert found["value"] == pytest.approx(20 * math.log10(high / low), abs=0.01)


def test_the_sheet_tells_them_with_the_reviewer_s_own_quantity(day: Path) -> None:
    text = sheet_text("2024-06-plover", day / "plover.html", day / "catalogue")
    for title in ("Dynamic range", "Linearity down to -90 dB", "Noise with digital silence",
                  "Sampling jitter", "Mains draw at idle"):  # fmt: skip
        assert title in text, title
    own = re.sub("<[^>]+>", "", text.partition("Mains draw at idle")[2])
    assert "11.50" in own[:200]
    assert "Dynamic range" in run("compare", "plover-2", "--all", "-c", day / "catalogue").output
