"""How wide tables are, what they leave out, and the list of a review's figures."""

from __future__ import annotations

import csv
import io
import re

import polars as pl
import pytest
import typer
from typer.testing import CliRunner, Result

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.commands import bench_day
from backbench.querying import saved_queries
from backbench.reports.column_widths import laid_out


def run(*words: str, columns: int | None = None, home: Catalogue | None = None) -> Result:
    env = {"COLUMNS": "" if columns is None else str(columns)}
    if home is not None:
        env["BACKBENCH_CATALOGUE"] = str(home.places.root)
    return CliRunner().invoke(app, list(words), env=env)


def widest(text: str) -> int:
    return max(len(line.rstrip()) for line in text.splitlines())


COMMANDS = typer.main.get_command(app).commands  # type: ignore[attr-defined]
TABLES = {
    "reviews", "show", "queries", "readings", "query", "metrics", "compare", "pair", "before-after",
    "promises", "trend", "drift", "plan", "history", "verify",
}  # fmt: skip
"""Commands whose answer is a table."""
OTHERS = {
    "init", "ingest", "recompute", "rebuild", "bench", "calibrate", "new", "stimuli", "cut",
    "check", "watch", "backfill", "chart", "publish", "sheet", "export", "snapshot", "withdraw",
    "rename", "join", "backup", "restore", "demo", "pictures",
}  # fmt: skip


def test_every_command_is_known_to_give_a_table_or_none() -> None:
    assert {*COMMANDS} == TABLES | OTHERS
    assert not TABLES & OTHERS


@pytest.mark.parametrize("name", sorted(TABLES))
def test_a_table_can_be_had_wide_and_in_every_format(name: str) -> None:
    options = {option for one in COMMANDS[name].params for option in one.opts}
    assert {"--wide", "--format"} <= options


@pytest.mark.parametrize("columns", [80, 120, 200])
@pytest.mark.parametrize("words", [("metrics",), ("queries",), ("reviews",)])
def test_a_table_uses_the_width_there_is(
    words: tuple[str, ...], columns: int, measured: Catalogue
) -> None:
    shown = run(*words, columns=columns, home=measured)
    assert shown.exit_code == 0
    assert widest(shown.output) <= columns


def test_the_key_of_a_metric_is_shown_in_80_columns() -> None:
    assert re.search(r"^ thd_n +%", run("metrics").output, re.MULTILINE)


def test_wide_shows_every_column_and_only_then() -> None:
    assert "columns not shown" in run("metrics").output
    wide = run("metrics", "--wide").output
    assert "columns not shown" not in wide
    assert "IEC 60268-3" in wide
    assert "columns not shown" in run("metrics").output


@pytest.mark.parametrize(
    ("columns", "needed"),
    [
        ({"review_key": 22, "position": 2, "file": 22, "stimulus": 10, "outcome": 14,
          "refused": 3, "reason": 90}, {"review_key", "file", "reason"}),
        ({"unit_key": 18, "label": 22, "technology": 11, "metric": 15, "title": 28, "before": 9,
          "before_u": 9, "after": 9, "after_u": 9, "unit": 3, "better": 6, "beyond": 6},
         {"unit_key", "title", "before", "after", "unit"}),
        ({"review_key": 22, "unit_key": 22, "label": 22, "reviewed": 10, "family": 18,
          "state": 8, "readings": 3}, {"unit_key", "family"}),
        ({"review_key": 22, "unit_key": 22, "position": 2, "label": 22, "metric": 16,
          "promised": 14, "printed_in": 22, "readings": 3}, {"unit_key", "metric", "promised"}),
    ],
)  # fmt: skip
def test_what_a_table_is_read_for_stays_in_80_columns(
    columns: dict[str, int], needed: set[str]
) -> None:
    made = pl.DataFrame({name: ["x" * width] for name, width in columns.items()})
    cells = {name: made[name].to_list() for name in made.columns}
    layout = laid_out(cells, {}, 80, folded={"title", "reason", "label", "stimulus", "promised"})
    assert needed <= {*layout.widths}
    assert {*layout.widths} | {*layout.hidden} == {*columns}
    assert sum(layout.widths.values()) + 2 * len(layout.widths) <= 80


PLANNED = {"n": 2, "done": 1, "file": 38, "level": 6, "output": 6, "load": 5, "range": 5,
           "power": 5, "why": 60}  # fmt: skip
WORK = {"unit_key": 20, "label": 22, "output": 5, "before": 8, "after": 8, "difference": 8,
        "beyond": 6}  # fmt: skip


@pytest.mark.parametrize(
    ("columns", "texts", "first"),
    [
        (PLANNED, {"play": "19 kHz + 19.993 kHz, 1:1, 2 s, generator into recorder"},
         bench_day.NEEDED[:5]),
        (WORK, {"title": "Residual noise, A-weighted", "assessment": "not significantly different"},
         saved_queries.shipped()["before-and-after-work"].needed[:6]),
    ],
)  # fmt: skip
def test_needed_texts_are_folded_before_one_of_them_is_left_out(
    columns: dict[str, int], texts: dict[str, str], first: tuple[str, ...]
) -> None:
    cells = {name: ["x" * width, "x"] for name, width in columns.items()}
    cells |= {name: [text, "x"] for name, text in texts.items()}
    titles = {"difference": "Change"}
    layout = laid_out(cells, titles, 80, folded={*texts, "why", "label"}, needed=first)
    assert {*first} <= {*layout.widths}
    assert all(layout.widths[name] >= max(map(len, text.split())) for name, text in texts.items())
    assert sum(layout.widths.values()) + 2 * len(layout.widths) <= 80


def test_all_figures_of_a_review(measured: Catalogue) -> None:
    review = measured.reviews()["review_key"][0]
    home = ("-c", str(measured.places.root))
    rows = list(
        csv.DictReader(io.StringIO(run("readings", review, *home, "--format", "csv").output))
    )
    stored = measured.readings()
    assert len(rows) == stored.filter(stored["review_key"] == review).height
    assert all(row["reason"] for row in rows if not row["value"])
    shown = run("readings", review, *home, "--metric", "thd").output
    assert "THD" in shown
    assert "±" in shown or "≤" in shown


def test_a_metric_that_is_none_is_named_with_those_near(measured: Catalogue) -> None:
    review = measured.reviews()["review_key"][0]
    ran = run("readings", review, "-c", str(measured.places.root), "--metric", "thdd")
    assert "did you mean thd?" in str(ran.exception)
