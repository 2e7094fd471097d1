"""One unit's rank by comparison and by chart: one rule over the same peers and uncertainties."""

from __future__ import annotations

from typing import Any

import pytest

from backbench.charts.ranked_dots import rank_interval
from backbench.comparison.unit_comparison import compare_unit
from backbench.querying.saved_queries import shipped
from backbench.storage.database import reading


@pytest.mark.parametrize("query", ["quietest-of-a-kind", "idle-noise-of-technology"])
@pytest.mark.parametrize("count", [4, 9])
def test_terminal_and_chart_give_one_rank(given: Any, query: str, count: int) -> None:
    given.between_sessions = True
    for n in range(count):
        key = f"u{n}"
        given.unit(key, kind="receiver" if n % 2 else "integrated amplifier")
        given.reading(key, "noise_a", 1e-4 * 1.12**n, 3e-6, under="idle", estimation=1e-6)
    for n in range(5):
        given.unit(f"p{n}", kind="preamplifier")
        given.reading(f"p{n}", "noise_a", 1e-5, 1e-7, under="idle")
    with reading(given.build()) as store:
        line = compare_unit(store, "u2").lines[0]
        rows = list(shipped()[query].run(store, {"unit": "u2"}).iter_rows(named=True))
    index = next(k for k, row in enumerate(rows) if row["unit_key"] == "u2")
    assert len(rows) == line.n == count
    assert rank_interval(rows, index, "lowest") == line.rank
    assert (line.rank is None) == (count == 4)


def test_a_chart_that_leaves_units_out_gives_no_rank(given: Any) -> None:
    for n in range(9):
        given.unit(f"u{n}")
        given.reading(f"u{n}", "noise_a", 1e-4 * 1.1**n, 1e-6, under="idle")
    with reading(given.build()) as store:
        frame = shipped()["quietest-of-a-kind"].run(store, {"unit": "u2", "most": "7"})
    assert rank_interval(list(frame.iter_rows(named=True)), 2, "lowest") is None
