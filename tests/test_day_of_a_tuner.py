"""A tuner's day, from `new` to the sheet: captures of a simulated tuner, its tables, the truth."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import soundfile

import golden_readings
from backbench.catalogue import Catalogue
from backbench.signal.track import Array
from commands_run import run

RATE, FULL_SCALE, SECONDS = 96_000, 3.0, 5.2
SETTINGS = """
title = "A day with a tuner"
[bench.table]
load_uncertainty_percent = 0.3
generator_uncertainty_percent = 0.3
[[bench.table.calibration]]
since = 2024-01-01
volts_peak_at_full_scale = { 1 = 3.0, 2 = 3.0 }
uncertainty_percent = 0.2
"""
LEVEL_V, TRUE_S, STATED_S = 0.5, 52e-6, 50e-6
PILOT_DB, SEPARATION_DB, RIGHT = -52.0, 38.0, 0.97
SNR_DB, STEREO_LOSS_DB, FULL_QUIETING_DB = 74.0, 20.0, 12.0
CAPTURE_DB, ALTERNATE_DB = 1.5, 62.0
T = np.arange(int(SECONDS * RATE)) / RATE


def deemphasis(hz: float, constant: float) -> float:
    return 1 / math.hypot(1.0, 2 * math.pi * hz * constant)


def played(hz: float | None, pilot: bool, driven: str | None) -> Array:
    """Both outputs, V, shape (n, 2): what the tone's de-emphasis leaves, hiss, the pilot."""
    rng = np.random.default_rng(7)
    hiss = LEVEL_V * 10 ** (-SNR_DB / 20)
    out = []
    for output, gain in (("left", 1.0), ("right", RIGHT)):
        volts = rng.normal(0.0, hiss, len(T))
        if hz is not None:
            share = 1.0 if driven in (None, output) else 10 ** (-SEPARATION_DB / 20)
            level = gain * share * LEVEL_V * deemphasis(hz, TRUE_S) / deemphasis(1000.0, TRUE_S)
            volts += math.sqrt(2) * level * np.sin(2 * np.pi * hz * T + 0.2)
        if pilot:
            size = math.sqrt(2) * gain * LEVEL_V * 10 ** (PILOT_DB / 20)
            volts += size * (np.sin(2 * np.pi * 19e3 * T) + 0.5 * np.sin(2 * np.pi * 38e3 * T))
        out.append(volts)
    return np.stack(out, axis=1)


def entries(review: Path) -> list[str]:
    """Every planned capture as a file, and its entry."""
    found = []
    for step in tomllib.loads((review / "plan.toml").read_text())["step"]:
        if "loop_back" in step:
            continue
        stimulus, stem = step["stimulus"], Path(step["file"]).stem
        driven = step.get("conditions", {}).get("driven")
        hz = stimulus.get("fm_tone_hz", stimulus.get("tone_hz"))
        volts = played(hz, "pilot_hz" in stimulus, driven)
        soundfile.write(review / f"{stem}.flac", volts / FULL_SCALE, RATE, subtype="PCM_24")
        if stem.startswith("fm-"):
            stimulus["deemphasis_s"] = STATED_S
        parts = (
            f'{k} = "{v}"' if isinstance(v, str) else f"{k} = {v}" for k, v in stimulus.items()
        )
        entry = f'[[capture]]\nfile = "{stem}.flac"\nstimulus = {{ {", ".join(parts)} }}\n'
        found.append(entry + (f'conditions = {{ driven = "{driven}" }}\n' if driven else ""))
    return found


def snr(dbf: Array, loss: float = 0.0) -> Array:
    """2 dB for each dB of the RF level until it is full."""
    return np.asarray(np.minimum(2 * (dbf - FULL_QUIETING_DB - loss) + 30, SNR_DB - loss / 2))


def tables(review: Path) -> list[str]:
    """The RF generator's levels, and an interferer's, as CSV, with their entries."""
    dbf = np.arange(8.0, 90.0, 3.0)
    columns = {
        "rf_level": ("dBf", dbf), "audio_level": ("dB", 0 * dbf), "noise": ("dB", -snr(dbf)),
        "distortion": ("%", 0 * dbf + 0.2), "stereo_audio_level": ("dB", 0 * dbf),
        "stereo_noise": ("dB", -snr(dbf, STEREO_LOSS_DB)),
        "stereo_distortion": ("%", 0 * dbf + 0.4), "separation": ("dB", 0 * dbf + SEPARATION_DB),
        "am_suppression": ("dB", 0 * dbf + 55.0),
    }  # fmt: skip
    level = np.arange(-20.0, 90.5, 0.5)
    same = np.clip(30 - 29 * (level + 2 * CAPTURE_DB) / (2 * CAPTURE_DB), 0.0, 60.0)
    beside = {
        "interferer_level": ("dB", level), "same_channel": ("dB", same),
        "alternate_channel": ("dB", 30 + ALTERNATE_DB - level),
    }  # fmt: skip
    return [_table(review, "tuner", columns), _table(review, "interference", beside)]


def _table(review: Path, kind: str, columns: dict[str, tuple[str, Array]]) -> str:
    rows = np.stack([values for _, values in columns.values()], axis=1)
    text = "\n".join(",".join(f"{value:.2f}" for value in row) for row in rows)
    (review / f"{kind}.csv").write_text(",".join(columns) + "\n" + text + "\n")
    declared = ", ".join(
        f'{key} = {{ name = "{key}", unit = "{unit}" }}' for key, (unit, _) in columns.items()
    )
    return (
        f'[[capture]]\nfile = "{kind}.csv"\nof = {{ unit = "crake-7", output = "left" }}\n'
        f'stimulus = {{ table = "{kind}", columns = {{ {declared} }} }}\n'
    )


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    root = tmp_path_factory.mktemp("tuner")
    home, review = root / "catalogue", root / "2024-05-crake-7"
    run("init", home)
    (home / "backbench.toml").write_text(SETTINGS)
    run("new", review, "--unit", "crake-7", "--maker", "Marrowgate", "--model", "Crake 7",
        "--kind", "tuner", "--technology", "solid state", "--state", "serviced", "--made", "1976",
        "--date", "2024-05-11", "--mains-hz", "50", "-c", home)  # fmt: skip
    run("plan", review, "-c", home)
    manifest = review / "review.toml"
    captures = [*entries(review), *tables(review)]
    manifest.write_text(manifest.read_text() + "\n" + "\n".join(captures))
    run("ingest", review, "--direct", "--processes", "1", "-c", home, codes=(0, 3))
    page = root / "crake.html"
    run("sheet", "2024-05-crake-7", page, "-c", home)
    assert "Capture ratio" in page.read_text(encoding="utf-8")
    return Catalogue(home)


def reading(catalogue: Catalogue, metric: str, **same: object) -> dict[str, object]:
    found = catalogue.readings().filter(
        pl.col("metric") == metric, pl.col("value").is_not_null(),
        *(pl.col(name) == wanted for name, wanted in same.items()),
    )  # fmt: skip
    assert found.height, metric
    return found.row(0, named=True)


def test_nothing_failed(catalogue: Catalogue) -> None:
    failed = catalogue.captures().filter(pl.col("status") == "failed")
    assert failed.select("file", "reason").rows() == []


@pytest.mark.parametrize(
    ("metric", "truth"),
    [
        ("capture_ratio", CAPTURE_DB),
        ("alternate_selectivity", ALTERNATE_DB),
        ("quieting_sensitivity", FULL_QUIETING_DB + 10),
        ("quieting_sensitivity_stereo", FULL_QUIETING_DB + STEREO_LOSS_DB + 10),
        ("ultimate_snr", SNR_DB),
        ("ultimate_snr_stereo", SNR_DB - STEREO_LOSS_DB / 2),
        ("tuner_thd", 0.2),
        ("tuner_thd_stereo", 0.4),
        ("stereo_separation", SEPARATION_DB),
        ("am_suppression", 55.0),
        ("pilot_residue", PILOT_DB),
        ("subcarrier_residue", PILOT_DB - 6.02),
    ],
)
def test_figures_beside_the_truth(catalogue: Catalogue, metric: str, truth: float) -> None:
    row = reading(catalogue, metric, output="left")
    assert row["bound"] is None
    assert abs(float(row["value"]) - truth) <= 3 * float(row["uncertainty"]) + 0.01  # type: ignore[arg-type]


def test_golden(catalogue: Catalogue) -> None:
    golden_readings.agree("tuner", catalogue.readings())


def test_deemphasis_error_at_10_khz(catalogue: Catalogue) -> None:
    row = reading(catalogue, "deemphasis_error", output="left", frequency_hz=10_000.0)
    own, stated = (
        20 * math.log10(deemphasis(1e4, constant) / deemphasis(1e3, constant))
        for constant in (TRUE_S, STATED_S)
    )
    assert float(row["value"]) == pytest.approx(own - stated, abs=0.02)  # type: ignore[arg-type]


def test_separation_against_frequency(catalogue: Catalogue) -> None:
    apart = catalogue.readings().filter(
        pl.col("metric") == "separation", pl.col("value").is_not_null()
    )
    assert len(apart["frequency_hz"].unique()) == 3
    assert apart["value"].to_list() == pytest.approx([SEPARATION_DB] * apart.height, abs=0.6)
