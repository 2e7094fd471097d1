"""What is recorded of a simulated tuner on its planned day, and typed from its generators."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import soundfile

from backbench.seed_dataset.tuner import Tuner, table_text, table_toml

RATE, SECONDS = 96_000, 5.2
STATED_S = 50e-6


def entries(tuner: Tuner, review: Path, full_scale_v: float) -> list[str]:
    """Every planned capture as a file, and its entry."""
    found = []
    for step in tomllib.loads((review / "plan.toml").read_text())["step"]:
        if "loop_back" in step:
            continue
        stimulus, stem = step["stimulus"], Path(step["file"]).stem
        driven = step.get("conditions", {}).get("driven")
        hz = stimulus.get("fm_tone_hz", stimulus.get("tone_hz"))
        volts = tuner.plays(hz, pilot="pilot_hz" in stimulus, driven=driven, seconds=SECONDS,
                            rate_hz=RATE, rng=np.random.default_rng(7))  # fmt: skip
        soundfile.write(review / f"{stem}.flac", volts / full_scale_v, RATE, subtype="PCM_24")
        if stem.startswith("fm-"):
            stimulus["deemphasis_s"] = STATED_S
        parts = (
            f'{k} = "{v}"' if isinstance(v, str) else f"{k} = {v}" for k, v in stimulus.items()
        )
        entry = f'[[capture]]\nfile = "{stem}.flac"\nstimulus = {{ {", ".join(parts)} }}\n'
        found.append(entry + (f'conditions = {{ driven = "{driven}" }}\n' if driven else ""))
    return found


def tables(tuner: Tuner, review: Path, unit_key: str) -> list[str]:
    """The RF generator's levels, and an interferer's, as CSV, with their entries."""
    made = {"tuner": tuner.by_rf_level(), "interference": tuner.by_interferer()}
    for kind, columns in made.items():
        (review / f"{kind}.csv").write_text(table_text(columns))
    return [
        f'[[capture]]\nfile = "{kind}.csv"\nof = {{ unit = "{unit_key}", output = "left" }}\n'
        f"stimulus = {table_toml(kind, columns)}\n"
        for kind, columns in made.items()
    ]


def truths(tuner: Tuner) -> list[tuple[str, float]]:
    """Metrics and their true values: quieting rises by 2 dB for each dB of the RF level."""
    sensitive = tuner.full_quieting_dbf + 10
    return [
        ("capture_ratio", tuner.capture_db),
        ("alternate_selectivity", tuner.alternate_db),
        ("adjacent_selectivity", tuner.adjacent_db),
        ("image_rejection", tuner.image_db),
        ("if_rejection", tuner.intermediate_db),
        ("quieting_sensitivity", sensitive),
        ("quieting_sensitivity_stereo", sensitive + tuner.stereo_loss_db),
        ("ultimate_snr", tuner.snr_db),
        ("ultimate_snr_stereo", tuner.snr_db - tuner.stereo_loss_db / 2),
        ("tuner_thd", tuner.thd_percent),
        ("tuner_thd_stereo", 2 * tuner.thd_percent),
        ("stereo_separation", tuner.separation_db),
        ("am_suppression", tuner.am_suppression_db),
        ("pilot_residue", tuner.pilot_db),
        ("subcarrier_residue", tuner.pilot_db - 6.02),
    ]
