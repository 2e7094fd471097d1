"""A disc player's day, from `new` to the sheet: a test disc, what the player makes of it."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import soundfile

import golden_readings
from backbench.bench_day.planned_capture import PlannedStep, capture_table, capture_text, read_plan
from backbench.catalogue import Catalogue
from backbench.documents.stimuli import Idle, Tone, TwoTones
from backbench.signal.track import Array
from commands_run import run
from sheet_text import sheet_text

RATE, BITS = 48_000, 16
FULL_V, RIGHT = 2.0, 0.98
SEPARATION_DB = 85.0
HISS_V = 5e-6
POLE_HZ = 60_000.0
SPOT_HZ, FOUND_S, DISC_S, DISC_LOW_S = 5000.0, 51e-6, 50e-6, 15e-6
"""The player's de-emphasis has another time constant than the disc's 50 us."""
BENCH = """
title = "A day with discs"
[bench.garage]
load_uncertainty_percent = 0.5
generator_uncertainty_percent = 0.5
[[bench.garage.calibration]]
since = 2024-01-01
volts_peak_at_full_scale = { 1 = 5.0, 2 = 5.0 }
uncertainty_percent = 0.2
"""
SECONDS = 3.0


def emphasis(hz: float, first_s: float) -> float:
    """Level that pre-emphasis gives a tone, a ratio; its inverse is the de-emphasis."""
    return math.hypot(1, 2 * math.pi * hz * first_s) / math.hypot(1, 2 * math.pi * hz * DISC_LOW_S)


def played(tones: dict[float, float], driven: str | None, deemphasised: bool = False) -> Array:
    """Both outputs, V, shape (n, 2). tones: peak re full scale by frequency."""
    time = np.arange(round(SECONDS * RATE)) / RATE
    out = []
    for n, (output, gain) in enumerate((("left", 1.0), ("right", RIGHT))):
        rng = np.random.default_rng(n)
        share = gain if driven in (None, output) else 10 ** (-SEPARATION_DB / 20)
        volts = np.zeros_like(time)
        for hz, peak in tones.items():
            filtered = peak / math.hypot(1, hz / POLE_HZ)
            if deemphasised:
                filtered /= emphasis(hz, FOUND_S)
            volts += share * filtered * np.sin(2 * np.pi * hz * time + 0.3)
        if tones:  # rounding and triangular dither make white noise of a quarter of a step squared
            step = 2.0 ** (1 - BITS)
            volts += step / 2 * math.sqrt(RATE / 44_100) * rng.standard_normal(len(time))
        out.append(FULL_V * math.sqrt(2) * volts + HISS_V * rng.standard_normal(len(time)))
    return np.stack(out, axis=1)


def record(step: PlannedStep) -> Array:
    match step.stimulus:
        case Idle():
            return played({}, None)
        case Tone(tone_hz=hz, full_scale_db=db):
            return played({hz: 10 ** ((db or 0.0) / 20)}, step.conditions.driven)
        case TwoTones(tones_hz=pair):
            return played(dict.fromkeys(pair, 0.5), None)
    raise AssertionError(step.file)


EMPHASISED = """
[[capture]]
file = "{name}.flac"
[capture.stimulus]
tone_hz = {hz}
full_scale_db = -20
pre_emphasis = true
generator_vrms = "unknown"
"""


def emphasised(review: Path) -> list[str]:
    """The tones of the part of the disc that was recorded with pre-emphasis."""
    entries = []
    for hz in (997.0, SPOT_HZ):
        volts = played({hz: 0.1}, None, deemphasised=True)
        name = f"emphasis-{hz:.0f}"
        soundfile.write(review / f"{name}.flac", volts / 5.0, RATE, subtype="PCM_24")
        entries.append(EMPHASISED.format(name=name, hz=hz))
    return entries


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    root = tmp_path_factory.mktemp("disc")
    home, review = root / "catalogue", root / "2024-06-plover-5"
    run("init", home)
    (home / "backbench.toml").write_text(BENCH)
    run("new", review, "--unit", "plover-5", "--maker", "Marrowgate", "--model", "Plover 5",
        "--kind", "disc player", "--technology", "solid state", "--state", "as received",
        "--date", "2024-06-11", "--mains-hz", "50", "-c", home)  # fmt: skip
    run("plan", review, "--rate", str(RATE), "-c", home)
    plan = read_plan(review)
    assert plan is not None
    entries = []
    for step in (step for step in plan.step if not step.loop_back):
        soundfile.write(review / step.file, record(step) / 5.0, RATE, subtype="PCM_24")
        entries.append(capture_text(capture_table(step)))
    manifest = review / "review.toml"
    manifest.write_text("\n".join([manifest.read_text(), *entries, *emphasised(review)]))
    run("ingest", review, "--direct", "--processes", "1", "-c", home, codes=(0, 3))
    text = sheet_text("2024-06-plover-5", root / "plover.html", home)
    for title in ("Dynamic range", "Noise with digital silence", "De-emphasis error of a disc"):
        assert title in text, title
    return Catalogue(home)


def figure(catalogue: Catalogue, metric: str, detail: str = "", **same: object) -> dict:  # type: ignore[type-arg]
    found = catalogue.readings().filter(
        pl.col("metric") == metric, pl.col("value").is_not_null(), pl.col("output") == "left",
        pl.col("detail").str.contains(detail, literal=True),
        *(pl.col(name) == wanted for name, wanted in same.items()),
    )  # fmt: skip
    assert found.height, metric
    return found.row(0, named=True)


def test_nothing_failed(catalogue: Catalogue) -> None:
    failed = catalogue.captures().filter(pl.col("status") == "failed")
    assert failed.select("file", "reason").rows() == []


def test_golden(catalogue: Catalogue) -> None:
    golden_readings.agree("disc-player", catalogue.readings())


def test_levels_balance_and_separation(catalogue: Catalogue) -> None:
    level = catalogue.readings().filter(pl.col("metric") == "level", pl.col("output") == "left")
    assert level["value"].max() == pytest.approx(FULL_V, rel=1e-3)
    for db in (-20, -60, -80, -90):
        found = figure(catalogue, "level_error", f"{db} dB re")
        assert abs(found["value"]) <= 3 * found["uncertainty"] + 1e-3, db
    balance = figure(catalogue, "channel_balance")
    assert balance["value"] == pytest.approx(-20 * math.log10(RIGHT), abs=1e-3)
    assert figure(catalogue, "separation")["value"] == pytest.approx(SEPARATION_DB, abs=0.6)


def test_dynamic_range_is_that_of_16_bits_with_dither(catalogue: Catalogue) -> None:
    """A quarter of a step squared, white to half the file's rate."""
    plain = 20 * math.log10(2 ** (BITS - 1) / math.sqrt(2) / math.sqrt(0.25 * 20 / 22.05))
    found = figure(catalogue, "dynamic_range", '"none"')
    assert found["value"] == pytest.approx(plain, abs=0.3)


def test_silence_shows_the_hiss_alone(catalogue: Catalogue) -> None:
    found = figure(catalogue, "silence_noise", '"none"')
    truth = 20 * math.log10(HISS_V * math.sqrt(19_980 / (RATE / 2)) / FULL_V)
    assert found["value"] == pytest.approx(truth, abs=0.3)


def test_response_and_deemphasis(catalogue: Catalogue) -> None:
    own = figure(catalogue, "played_response", frequency_hz=20_000.0)
    truth = -20 * math.log10(math.hypot(1, 20_000 / POLE_HZ) / math.hypot(1, 997 / POLE_HZ))
    assert own["value"] == pytest.approx(truth, abs=0.01)
    found = figure(catalogue, "disc_deemphasis_error", frequency_hz=SPOT_HZ)
    lost = [
        emphasis(hz, DISC_S) / emphasis(hz, FOUND_S) / math.hypot(1, hz / POLE_HZ)
        for hz in (997.0, SPOT_HZ)
    ]
    assert found["value"] == pytest.approx(20 * math.log10(lost[1] / lost[0]), abs=0.01)
