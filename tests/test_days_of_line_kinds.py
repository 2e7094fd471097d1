"""Days of a phono stage, a headphone amplifier and an equaliser, beside what was simulated."""

from __future__ import annotations

import math
from functools import partial
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import soundfile

import golden_readings
from backbench.bench_day.planned_capture import capture_table, capture_text, read_plan
from backbench.catalogue import Catalogue
from backbench.seed_dataset.stage import Stage, replay_curve
from commands_run import run
from sheet_text import sheet_text

RATE = 48_000
FULL_V = 40.0
BENCH = f"""
title = "A day on the bench"
[bench.garage]
load_uncertainty_percent = 0.2
generator_uncertainty_percent = 0.2
[[bench.garage.calibration]]
since = 2024-01-01
volts_peak_at_full_scale = {{ 1 = {FULL_V}, 2 = {FULL_V} }}
uncertainty_percent = 0.2
"""


STRETCHED = 1.08
"""The middle time constant of the phono stage, of the exact one."""
STAGES = {
    "phono stage": Stage(
        100.0, 8.0, 0.4e-6, 470.0, response=partial(replay_curve, stretch=STRETCHED)
    ),
    "headphone amplifier": Stage(4.0, 9.0, 2e-6, 12.0),
    "equaliser": Stage(1.0, 12.0, 4e-6, 150.0, input_ohm=20_000.0),
}
PLANS = {
    "phono stage": (),
    "headphone amplifier": ("--gain-db", "12.04", "--load", "32", "--load", "300"),
    "equaliser": ("--gain-db", "0"),
}
INPUTS = {"phono stage": "phono mm"}


def taken(kind: str, home: Path, review: Path) -> None:
    """The day of one kind: begun, planned, recorded as planned, ingested."""
    run("new", review, "--unit", review.name, "--maker", "Marrowgate", "--model", f"D {kind}",
        "--kind", kind, "--technology", "solid state", "--state", "serviced", "--mains-hz", "50",
        "--output", "left", "--date", "2024-06-11", "-c", home)  # fmt: skip
    manifest = review / "review.toml"
    text = manifest.read_text()
    if kind in INPUTS:
        text = text.replace("[conditions]", f'[conditions]\ninput = "{INPUTS[kind]}"', 1)
        text = text.replace("[tracks]", "[tracks]\n2 = { generator = true }", 1)
        assert INPUTS[kind] in text
        assert "generator = true" in text
    manifest.write_text(text)
    run("plan", review, "--rate", str(RATE), *PLANS[kind], "-c", home)
    plan = read_plan(review)
    assert plan is not None
    stage, entries = STAGES[kind], []
    for step in plan.step:
        if step.loop_back:
            continue
        load = step.conditions.load_ohm
        ohm = load if isinstance(load, float | int) else math.inf
        rng = np.random.default_rng(len(step.file))
        volts = stage.plays(step.stimulus, ohm, RATE, rng)
        if kind in INPUTS:
            volts = np.stack([volts, stage.hears(step.stimulus, RATE)], axis=1)
        soundfile.write(review / step.file, volts / FULL_V, RATE, subtype="FLOAT")
        entries.append(capture_text(capture_table(step)))
    manifest.write_text(manifest.read_text() + "\n" + "\n".join(entries))
    run("ingest", review, "--direct", "--processes", "1", "-c", home, codes=(0, 3))


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("days")
    run("init", root / "home")
    (root / "home" / "backbench.toml").write_text(BENCH)
    for kind in STAGES:
        taken(kind, root / "home", root / kind.replace(" ", "-"))
    return root / "home"


@pytest.fixture(scope="module")
def readings(home: Path) -> pl.DataFrame:
    return Catalogue(home).readings()


def figures(readings: pl.DataFrame, kind: str, metric: str, detail: str = "") -> list[dict]:  # type: ignore[type-arg]
    return readings.filter(
        pl.col("unit_key") == kind.replace(" ", "-"), pl.col("metric") == metric,
        pl.col("value").is_not_null(), pl.col("detail").str.contains(detail, literal=True),
    ).to_dicts()  # fmt: skip


def within(found: dict, truth: float) -> bool:  # type: ignore[type-arg]
    return bool(abs(found["value"] - truth) < 2.5 * found["uncertainty"] + 1e-3 * abs(truth))


@pytest.mark.parametrize("kind", STAGES)
def test_every_capture_of_its_plan_is_measured(home: Path, kind: str) -> None:
    captures = Catalogue(home).captures().filter(
        pl.col("review_key") == kind.replace(" ", "-"), pl.col("status") == "failed"
    )  # fmt: skip
    assert captures.select("file", "reason").rows() == []


def test_golden(readings: pl.DataFrame) -> None:
    golden_readings.agree("line-kinds", readings)


@pytest.mark.parametrize("kind", STAGES)
def test_gain_and_impedances_are_those_of_the_stage(readings: pl.DataFrame, kind: str) -> None:
    stage = STAGES[kind]
    loads = {32.0: 32.0, None: math.inf}
    gains = [f for f in figures(readings, kind, "gain") if abs(f["frequency_hz"] - 997) < 1]
    least = min(gains, key=lambda f: (f["generator_vrms"], f["load_ohm"] or 0))
    loaded = stage.gain / (1 + stage.source_ohm / loads.get(least["load_ohm"], math.inf))
    assert least["value"] == pytest.approx(20 * math.log10(loaded), abs=0.05)
    ohms = figures(readings, kind, "source_impedance")
    assert ohms
    for found in ohms:  # without the generator's phase a bound
        assert (
            found["value"] >= 0.98 * stage.source_ohm
            if found["bound"]
            else within(found, stage.source_ohm)
        )
    (inlet,) = figures(readings, kind, "input_impedance")
    assert within(inlet, stage.input_ohm)


@pytest.mark.parametrize(("kind", "level"), [("phono stage", 5e-3), ("equaliser", 0.5)])
def test_noise_is_known_re_the_reference_input(
    readings: pl.DataFrame, kind: str, level: float
) -> None:
    """White noise: 20 Hz to 20 kHz of 24 kHz."""
    (found,) = figures(readings, kind, "snr_reference_input", '"none"')
    noise = STAGES[kind].hiss_v * math.sqrt(19_980 / 24_000)
    assert abs(found["value"] - 20 * math.log10(level / noise)) < 3 * found["uncertainty"] + 0.05


def test_overload_of_the_phono_stage(readings: pl.DataFrame) -> None:
    stage = STAGES["phono stage"]
    found = {
        f["limit_percent"]: f for f in figures(readings, "phono stage", "phono_overload_margin")
    }
    for percent in (0.1, 1.0, 3.0):
        truth = 20 * math.log10(stage.input_at(percent) / 5e-3)
        assert abs(found[percent]["value"] - truth) < 2.5 * found[percent]["uncertainty"], percent


def test_its_error_from_the_replay_curve(readings: pl.DataFrame) -> None:
    """A middle time constant that is too long: the curve's own ratio at its far end, 20 Hz.

    There the output swings as far as a cartridge's at 1 kHz, and tanh(x) takes x^2 / 4 of a sine.
    """
    stage, hz = STAGES["phono stage"], np.array([20.0])
    swing = 5e-3 * math.sqrt(2) * stage.gain / stage.rail_v
    ratio = np.abs(replay_curve(hz, STRETCHED) / replay_curve(hz)) * (1 - swing**2 / 4)
    off = 20 * np.log10(ratio)
    (found,) = figures(readings, "phono stage", "riaa_error")
    assert found["bound"] is None
    assert abs(found["value"] - np.abs(off).max()) < 2.5 * found["uncertainty"]


def test_its_sheet_is_written(home: Path, tmp_path: Path) -> None:
    text = sheet_text("phono-stage", tmp_path / "sheet.html", home)
    for title in ("Input impedance", "RIAA error", "Phono overload", "SNR re the reference input"):
        assert title in text, title
