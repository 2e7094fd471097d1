"""A response as it was read point by point: a CSV table."""

from __future__ import annotations

import numpy as np

from backbench.seed_dataset.behaviour import NOMINAL_OHM, Behaviour
from backbench.seed_dataset.draws import generator_for

READING_SCATTER_DB = 0.02
COLUMNS = (
    'columns = { frequency = { name = "frequency_hz", unit = "Hz" }, '
    'level = { name = "level_db", unit = "dB" } }'
)


def response_toml() -> str:
    """The stimulus as an inline table of the manifest."""
    return f'{{ table = "response", {COLUMNS} }}'


def response_csv(review_key: str, file: str, behaviour: Behaviour) -> str:
    """Columns frequency_hz and level_db (re 1 kHz), sixth octaves from 10 Hz to 40 kHz."""
    frequency = 1000.0 * 2.0 ** (np.arange(-40, 33) / 6)
    level = 20 * np.log10(np.abs(behaviour.into(NOMINAL_OHM, frequency)))
    level += READING_SCATTER_DB * generator_for("table", review_key, file).standard_normal(
        len(level)
    )
    level -= level[40]
    rows = [f"{f:.5g},{v:.2f}" for f, v in zip(frequency, level + 0.0, strict=True)]
    return "\n".join(["frequency_hz,level_db", *rows]) + "\n"
