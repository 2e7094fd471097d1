"""dBf against microvolts.

Source: tables/dbf_microvolt.csv, computed from the definition (dB re 1 femtowatt, V = sqrt(P Z));
its anchors 0.55 uV at 0 dBf and 1.74 uV at 10 dBf, 300 ohm, were read in a magazine of 1980.
"""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from backbench.metrics.tuner import dbf_of

TABLE = Path(__file__).parent / "tables" / "dbf_microvolt.csv"


@pytest.mark.parametrize(("column", "ohm"), [("uV_300ohm", 300.0), ("uV_75ohm", 75.0)])
def test_every_row(column: str, ohm: float) -> None:
    table = pl.read_csv(TABLE)
    result = dbf_of(1e-6 * table[column].to_numpy(), ohm)
    assert len(result) == 25
    assert result == pytest.approx(table["dbf"].to_numpy(), abs=2e-3)


@pytest.mark.parametrize(("microvolt", "dbf"), [(0.55, 0.0), (1.74, 10.0)])
def test_printed_anchors(microvolt: float, dbf: float) -> None:
    import numpy as np

    assert float(dbf_of(np.array(1e-6 * microvolt), 300.0)) == pytest.approx(dbf, abs=0.05)
