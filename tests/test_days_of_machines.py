"""A day for each machine that plays a medium, from `new` to the sheet, beside the truth."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import soundfile

import golden_readings
from backbench.bench_day.planned_capture import read_plan
from backbench.catalogue import Catalogue
from backbench.metrics.recorder_rate import HEADER_ALONE
from backbench.seed_dataset.machine import CAPSTAN_HZ, Machine
from backbench.seed_dataset.playback import Playback
from backbench.signal.rumble import rumble_unweighted, rumble_weighted
from backbench.signal.track import Array
from commands_run import run
from sheet_text import sheet_text

RATE = 44_100
FULL_SCALE = 6.0
SETTINGS = """
title = "A day with machines"
[bench.table]
load_uncertainty_percent = 0.3
generator_uncertainty_percent = 0.3
[[bench.table.calibration]]
since = 2024-01-01
volts_peak_at_full_scale = { 1 = 6.0, 2 = 6.0 }
uncertainty_percent = 0.2
"""
MACHINE = Machine(rate_hz=RATE)
PLAYS = Playback(MACHINE)
SHORT_S = {"speed": 22.2, "reference": 4.5, "tone": 4.0, "silent": 6.0, "erased": 6.0,
           "only": 4.0, "sweep": 11.0, "idle": 1.0}  # fmt: skip
"""Shorter than the plan asks for: enough for every figure."""


def recorded(review: Path, level: str) -> None:
    """Every planned capture as a file and an entry of the manifest; level: the reference's own."""
    plan = read_plan(review)
    assert plan is not None
    entries = []
    for step in (step for step in plan.step if not step.loop_back):
        stem, driven = step.stem, step.conditions.driven
        volts = PLAYS.plays(step.stimulus, driven, SHORT_S[stem.split("-", maxsplit=1)[0]])
        soundfile.write(review / f"{stem}.flac", volts / FULL_SCALE, RATE, subtype="PCM_24")
        key, value = next(iter(step.stimulus.model_dump(exclude_none=True).items()))
        more = f", sweep_s = {SHORT_S['sweep'] - 0.8}" if key == "played_sweep_hz" else ""
        more += f", {level}" if stem.startswith("reference") else ""
        text = f'"{value}"' if isinstance(value, str) else value
        entry = f'[[capture]]\nfile = "{stem}.flac"\nstimulus = {{ {key} = {text}{more} }}\n'
        entries.append(entry + (f'conditions = {{ driven = "{driven}" }}\n' if driven else ""))
    manifest = review / "review.toml"
    manifest.write_text(manifest.read_text() + "\n" + "\n".join(entries))


def day(root: Path, kind: str, level: str) -> Catalogue:
    home, review = root / "catalogue", root / "2024-05-otter-3"
    run("init", home)
    (home / "backbench.toml").write_text(SETTINGS)
    run("new", review, "--unit", "otter-3", "--maker", "Marrowgate", "--model", "Otter 3",
        "--kind", kind, "--technology", "solid state", "--state", "serviced", "--made", "1974",
        "--date", "2024-05-11", "--mains-hz", "50", "-c", home)  # fmt: skip
    run("plan", review, "-c", home)
    recorded(review, level)
    run("ingest", review, "--direct", "--processes", "1", "-c", home, codes=(0, 3))
    page = sheet_text("2024-05-otter-3", root / "otter.html", home)
    assert "wow and flutter" in page.lower()
    return Catalogue(home)


@pytest.fixture(scope="module")
def turntable(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    return day(tmp_path_factory.mktemp("disc"), "turntable", "peak_velocity_cm_s = 10")


@pytest.fixture(scope="module")
def deck(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    return day(tmp_path_factory.mktemp("tape"), "tape deck", "flux_nwb_m = 250")


def rows(catalogue: Catalogue, metric: str, output: str = "left") -> pl.DataFrame:
    found = catalogue.readings().filter(
        pl.col("metric") == metric, pl.col("output") == output, pl.col("value").is_not_null()
    )
    assert found.height, metric
    return found


def agrees(catalogue: Catalogue, metric: str, truth: float, output: str = "left") -> None:
    """The figure's interval of 95 % and a half more holds the truth."""
    row = rows(catalogue, metric, output).row(0, named=True)
    assert row["bound"] is None, metric
    assert abs(row["value"] - truth) <= 3 * row["uncertainty"], (metric, row["value"], truth)


def nothing_failed(catalogue: Catalogue) -> None:
    failed = catalogue.captures().filter(pl.col("status") == "failed")
    assert failed.select("file", "reason").rows() == []


@pytest.mark.parametrize("name", ["turntable", "deck"])
def test_golden(name: str, request: pytest.FixtureRequest) -> None:
    catalogue: Catalogue = request.getfixturevalue(name)
    golden_readings.agree(name, catalogue.readings())


FLUTTER_RMS = math.hypot(0.12, 0.06) / math.sqrt(2)


@pytest.mark.parametrize("name", ["turntable", "deck"])
def test_what_both_machines_have(name: str, request: pytest.FixtureRequest) -> None:
    catalogue: Catalogue = request.getfixturevalue(name)
    nothing_failed(catalogue)
    remarks = catalogue.readings()["reason"].drop_nulls().to_list()
    assert not [text for text in remarks if HEADER_ALONE in text], "a played tone shows the rate"
    agrees(catalogue, "speed_error", 0.4)
    agrees(catalogue, "flutter_unweighted_rms", FLUTTER_RMS / 1.004)
    agrees(catalogue, "played_third_harmonic", PLAYS.third_percent)
    agrees(catalogue, "played_balance", 20 * math.log10(PLAYS.right), "right")
    agrees(catalogue, "played_separation", -20 * math.log10(PLAYS.left_over), "right")
    grid = np.geomspace(20, 20_000, 50_000)
    db = 20 * np.log10(PLAYS.response(grid) / PLAYS.response(np.array([1000.0])))
    upper = float(grid[(grid > 1000) & (db < -3)][0])
    assert rows(catalogue, "played_high_limit")["value"].item() == pytest.approx(upper, rel=0.03)


def test_rumble_and_arm_of_a_turntable(turntable: Catalogue) -> None:
    for metric, curve in (("rumble", rumble_unweighted), ("rumble_weighted", rumble_weighted)):
        line = PLAYS.rumble_v * float(curve(np.array([25.0]))[0])
        noise = _noise_behind(curve)
        agrees(turntable, metric, 20 * math.log10(math.hypot(line, noise)))
    grid = np.geomspace(4, 30, 5000)
    agrees(turntable, "arm_resonance", float(grid[np.argmax(PLAYS.arm(grid))]))
    assert not turntable.readings().filter(pl.col("metric") == "medium_snr").height


def _noise_behind(curve: Callable[[Array], Array]) -> float:
    hz = np.arange(0.5, RATE / 2)
    return float(MACHINE.noise_v * np.sqrt(np.square(curve(hz)).sum() / (RATE / 2)))


def test_noise_erasure_and_azimuth_of_a_tape_deck(deck: Catalogue) -> None:
    noise = math.hypot(PLAYS.rumble_v, MACHINE.noise_v * math.sqrt(19_980 / (RATE / 2)))
    agrees(deck, "medium_snr", -20 * math.log10(noise))
    agrees(deck, "erasure", -20 * math.log10(PLAYS.erased_v))
    agrees(deck, "azimuth_delay", PLAYS.late_s, "right")
    assert rows(deck, "erasure", "right").row(0, named=True)["bound"] == "lower"


def test_the_capstan_stands_out_in_the_spectrum_of_the_flutter(deck: Catalogue) -> None:
    drawn = deck.frame("FROM curve WHERE curve = 'flutter_spectrum' AND output = 'left'")
    hz, size = (np.array(drawn[axis][0]) for axis in ("x", "y"))
    near = np.abs(hz - CAPSTAN_HZ) < 0.5
    assert size[near].max() == pytest.approx(0.06 / math.sqrt(2), rel=0.2)
