"""One unit's rank by comparison and by chart: one rule over the same peers and uncertainties."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.charts.ranked_dots import rank_interval
from backbench.cli import app
from backbench.comparison.unit_comparison import compare_unit
from backbench.querying.saved_queries import shipped
from backbench.statistics.ranks import interval_text
from backbench.storage.database import reading


def run(root: Path, *words: str) -> str:
    ran = CliRunner().invoke(app, [*words, "-c", str(root)])
    if ran.exit_code and ran.exception:
        raise ran.exception
    return " ".join(ran.stdout.split())


RANKED = {
    "quietest-of-a-kind": "noise_a", "idle-noise-of-technology": "noise_a",
    "input-referred-noise": "input_referred_noise",
}  # fmt: skip
"""Saved queries that rank units, with the metric."""


def test_every_query_that_ranks_is_held() -> None:
    assert RANKED.keys() == {name for name, q in shipped().items() if q.chart == "ranked"}


@pytest.mark.parametrize("query", RANKED)
@pytest.mark.parametrize("count", [4, 9])
def test_terminal_and_chart_give_one_rank(given: Any, query: str, count: int) -> None:
    metric = RANKED[query]
    given.between_sessions = True
    for n in range(count):
        key = f"u{n}"
        given.unit(key, kind="receiver" if n % 2 else "integrated amplifier")
        given.reading(key, metric, 1e-4 * 1.12**n, 3e-6, under="idle", estimation=1e-6)
    for n in range(5):
        given.unit(f"p{n}", kind="preamplifier")
        given.reading(f"p{n}", metric, 1e-5, 1e-7, under="idle")
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


def test_a_rank_that_may_be_any_is_told_alike(given: Any) -> None:
    """In the terminal, from Python, and on the chart: that it can't be told apart."""
    given.between_sessions = True
    for n in range(9):
        given.unit(f"u{n}")
        given.reading(f"u{n}", "noise_a", 1e-4 * 1.001**n, 1e-6, under="idle", estimation=1e-6)
    root = given.build()
    (root / "backbench.toml").write_text('title = "Bench"\n')
    catalogue = Catalogue(root)
    (line,) = catalogue.compare("u4").lines
    assert line.place == "not told apart from its 8 peers"
    assert not line.is_placed
    chart = json.dumps(catalogue.chart("quietest-of-a-kind", unit="u4").to_dict())
    for text in (chart, run(root, "compare", "u4", "--all")):
        assert line.place in text
        assert not re.search(r"\d(?:st|nd|rd|th) of 9|better than:", text)


@pytest.mark.usefixtures("few_questions")
def test_one_place_from_terminal_chart_caption_sheet_site_and_python(given: Any) -> None:
    given.between_sessions = True
    for n in range(9):
        given.unit(f"u{n}", kind="receiver" if n % 2 else "integrated amplifier")
        given.reading(f"u{n}", "noise_a", 1e-4 * 1.12**n, 3e-6, under="idle", estimation=1e-6)
        given.capture(f"r-u{n}", 1, stimulus="idle")
    root = given.build()
    (root / "backbench.toml").write_text('title = "Bench"\n')
    catalogue = Catalogue(root)
    line = next(n for n in catalogue.compare("u2").lines if n.metric == "noise_a")
    assert line.rank is not None
    assert line.rank[0] < line.rank[1]
    wanted = interval_text(*line.rank, line.n)
    frame = catalogue.query("quietest-of-a-kind", unit="u2")
    rows = list(frame.iter_rows(named=True))
    index = frame["unit_key"].to_list().index("u2")
    drawn = rank_interval(rows, index, "lowest")
    assert drawn is not None
    chart = json.dumps(catalogue.chart("quietest-of-a-kind", unit="u2").to_dict())
    texts = {
        "chart's rows": interval_text(*drawn, len(rows)),
        "chart": chart,
        "terminal": run(root, "compare", "u2"),
    }
    run(root, "publish", "--out", str(root / "site"), "--processes", "1")
    run(root, "publish", "--stills", "r-u2", "--out", str(root / "stills"))
    run(root, "sheet", "r-u2", str(root / "sheet.html"))
    texts["unit page"] = (root / "site" / "units" / "u2.html").read_text()
    texts["site's sheet"] = (root / "site" / "sheets" / "r-u2.html").read_text()
    texts["sheet"] = (root / "sheet.html").read_text()
    (caption,) = (root / "stills").glob("*-idle-noise-of-technology-*.txt")
    texts["caption"] = caption.read_text()
    for place, text in texts.items():
        result = set(re.findall(r"\d+(?:st|nd|rd|th)(?: to \d+(?:st|nd|rd|th))? of 9", text))
        assert result == {wanted}, place
