"""The replay curve against tables.

Sources: tables/riaa_playback.csv is computed from the published time constants (with and without
the amendment of 1976) by another program of the reference work; tables/riaa_handbook_0p1db.csv is
a handbook list from memory, given to 0.1 dB. No document with 0.01 dB values could be read.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.signal import freqs

from backbench.signal.riaa import riaa_db

TABLES = Path(__file__).parent / "tables"


@pytest.mark.parametrize(
    ("column", "amended"), [("riaa_db_re_1k", False), ("iec_amended_db_re_1k", True)]
)
def test_computed_table(column: str, amended: bool) -> None:
    table = pl.read_csv(TABLES / "riaa_playback.csv")
    result = riaa_db(table["freq_hz"].to_numpy().astype(float), amended=amended)
    assert len(result) >= 30
    assert result == pytest.approx(table[column].to_numpy(), abs=6e-5)


def test_handbook_list_from_memory() -> None:
    """The list's one row of another source, a leaflet that disagrees by 0.14 dB, is left out."""
    table = pl.read_csv(TABLES / "riaa_handbook_0p1db.csv").filter(
        pl.col("provenance") == "handbook list from memory"
    )
    assert len(table) == 24
    result = riaa_db(table["freq_hz"].to_numpy().astype(float), amended=False)
    assert np.max(np.abs(result - table["handbook_db"].to_numpy())) <= 0.061


def test_an_independent_library_evaluates_the_same_transfer() -> None:
    """scipy.signal.freqs of the polynomial form."""
    hz = np.geomspace(10, 40_000, 50)
    numerator = np.array([318e-6, 1])
    denominator = np.polymul([3180e-6, 1], [75e-6, 1])
    _, h = freqs(numerator, denominator, 2 * np.pi * np.append(hz, 1000.0))
    db = 20 * np.log10(np.abs(h))
    assert riaa_db(hz, amended=False) == pytest.approx(db[:-1] - db[-1], abs=1e-9)


def test_the_amendment_takes_3_db_at_20_hz() -> None:
    """7950 us is 20.02 Hz, where a first-order high-pass is down by half its power."""
    corner = 1 / (2 * np.pi * 7950e-6)
    apart = riaa_db(np.array([corner]), amended=True) - riaa_db(np.array([corner]), amended=False)
    at_1k = 10 * np.log10(1 + (corner / 1000) ** 2)
    assert apart[0] == pytest.approx(-10 * np.log10(2) + at_1k, abs=1e-9)
