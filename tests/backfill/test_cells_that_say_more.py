"""Cells with conditions, uncertainties and footnotes; rows of no unit; days; suggestions."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from backbench.backfill.column_map import ColumnMap
from backbench.backfill.compound_cells import FigureUnits, read_compound
from backbench.backfill.days import UnreadableDay, read_day
from backbench.backfill.parse_records import SheetContents, parse_sheet
from backbench.backfill.spreadsheet import Grid, sheet_under
from backbench.backfill.suggestions import for_figure, for_years
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.reading import Bound

WATTS, PERCENT = FigureUnits("W", "W"), FigureUnits("%", "%")


@pytest.mark.parametrize(
    ("text", "how", "value", "bound", "at", "spread"),
    [
        ("12 W @ 8 Ω, 1 % THD", WATTS, 12, None, {"load_ohm": 8, "limit_percent": 1}, None),
        ("35,5 W at 4 ohm; 3 %", WATTS, 35.5, None, {"load_ohm": 4, "limit_percent": 3}, None),
        ("> 100 W (8 Ω)", WATTS, 100, "lower", {"load_ohm": 8}, None),
        ("20 V into 8 ohm load", WATTS, 50, None, {"load_ohm": 8}, None),
        ("0.08 % @ 1 W, 1 kHz", PERCENT, 0.08, None, {"power_w": 1, "frequency_hz": 1000}, None),
        ("12 W @ 8 Ω, 1 % THD", PERCENT, 1, None, {"power_w": 12, "load_ohm": 8}, None),
        ("0.08 ± 0.01 %", PERCENT, 0.08, None, {}, 0.01),
        ("0.08 % +/- 0.01 % @ 5 W", PERCENT, 0.08, None, {"power_w": 5}, 0.01),
        ("0,08", PERCENT, 0.08, None, {}, None),
    ],
)
def test_a_cell_is_split_into_figure_conditions_and_uncertainty(
    text: str, how: FigureUnits, value: float, bound: Bound | None, at: dict[str, float],
    spread: float | None,
) -> None:  # fmt: skip
    read = read_compound(text, how)
    assert (read.figure.value, read.figure.bound) == (pytest.approx(value), bound)
    assert (read.at, read.spread) == (at, spread)


@pytest.mark.parametrize(
    ("text", "how", "reason"),
    [
        ("12 W, 14 W", WATTS, "more than one figure"),
        ("12 W @ 8 Ω, 4 Ω", WATTS, "load_ohm twice"),
        ("12 W @ full moon", WATTS, "'full moon', which is neither"),
        ("8 Ω, 1 kHz", PERCENT, "no figure of this column"),
        ("< 0.1 ± 0.01 %", PERCENT, "no uncertainty"),
        ("0.1 ± 0 %", PERCENT, "no uncertainty"),
        ("0.1 % @ 1 W (0.2 %)", PERCENT, "more than one figure"),
        ("1,234 W @ 8 Ω", WATTS, "may be"),
    ],
)
def test_a_cell_with_two_meanings_is_refused(text: str, how: FigureUnits, reason: str) -> None:
    with pytest.raises(UnreadableQuantity, match=reason):
        read_compound(text, how)


@pytest.mark.parametrize(
    ("text", "forms", "day"),
    [
        ("2004-05-11", [], dt.date(2004, 5, 11)),
        ("03/04/2011", ["%d/%m/%Y"], dt.date(2011, 4, 3)),
        ("05/05/2011", ["%d/%m/%Y", "%m/%d/%Y"], dt.date(2011, 5, 5)),
        ("25/04/2011", ["%d/%m/%Y", "%m/%d/%Y"], dt.date(2011, 4, 25)),
    ],
)
def test_days_are_read_as_the_map_says(text: str, forms: list[str], day: dt.date) -> None:
    assert read_day(text, text, forms) == day


@pytest.mark.parametrize(
    ("text", "forms", "message"),
    [
        ("03/04/2011", ["%d/%m/%Y", "%m/%d/%Y"], "4 March 2011 or 3 April 2011"),
        ("03/04/2011", [], "may be 4 March 2011 or 3 April 2011"),
        ("last summer", [], "is no day"),
        ("01/02/68", ["%d/%m/%y"], "still to come"),
        ("2099-01-01", [], "still to come"),
    ],
)
def test_a_day_that_may_be_two_is_refused_with_both(
    text: str, forms: list[str], message: str
) -> None:
    with pytest.raises(UnreadableDay, match=message) as raised:
        read_day(text, text, forms)
    assert raised.value.proposal


@pytest.mark.parametrize(
    ("text", "suggestion"),
    [
        ("1-3 %", "< 3 %"), ("5 apples", "write 5 %"), ("~1", "write 1 %"), ("low", "`empty`"),
        ("0.5 pct.", "write 0.5 pct"), ("about 90", "write 90 %"),
    ],
)  # fmt: skip
def test_every_figure_that_is_left_out_has_a_suggestion(text: str, suggestion: str) -> None:
    assert suggestion in for_figure(text, PERCENT, "lower")


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("sixties", "1960-69"),
        ("1970s", "1970-79"),
        ("c. 1961", "1961"),
        ("1959 or 1963", "1959-1963"),
    ],
)
def test_years_have_a_suggestion(text: str, written: str) -> None:
    assert for_years(text) == f"write {written}"


HOW: dict[str, Any] = {
    "review": {"date": {"column": "Date"}, "bench": {"always": "notebook"},
               "mains_hz": {"always": 50.0}},
    "unit": {"maker": {"column": "Maker"}, "model": {"column": "Model"},
             "kind": {"always": "power amplifier"}, "technology": {"always": "tube"},
             "state": {"always": "serviced"}},
    "reading": [{"column": "THD", "metric": "thd", "unit": "%", "output": "both",
                 "at": {"load_ohm": 8.0}, "uncertainty_column": "±", "uncertainty_coverage": 2.0}],
}  # fmt: skip


def parsed(rows: list[list[object]], **reading: object) -> SheetContents:
    content = {**HOW, "reading": [{**HOW["reading"][0], **reading}]}
    cells: Any = [["Date", "Maker", "Model", "THD", "±"], *rows]
    sheet = sheet_under(Path("x.csv"), Grid("x.csv", cells, set()), 1)
    return parse_sheet(sheet, ColumnMap.model_validate(content))


def row(figure: object, spread: object = None, model: str = "Heron") -> list[object]:
    return ["2001-02-03", "Marrowgate", model, figure, spread]


def shares(contents: SheetContents) -> list[float | None]:
    (record,) = contents.records.values()
    return [figure["uncertainty_percent"] for figure in record.entered]


def test_uncertainties_of_a_column_become_standard_and_relative() -> None:
    assert shares(parsed([row("0.1 %", "0.01")])) == [pytest.approx(5)]
    assert shares(parsed([row("-60 dB", "± 0.02 %")])) == [pytest.approx(10)]
    assert shares(parsed([row("0.1 ± 0.01 %")])) == [pytest.approx(5)]
    assert shares(parsed([row("0.1 %")])) == [None]


@pytest.mark.parametrize(
    ("cells", "reading", "message"),
    [
        (("0.1 ± 0.01 %", "0.01"), {}, "in its cell and one in its column"),
        (("0.1 %", "wide"), {}, "its uncertainty 'wide'"),
        (("0.1 %", "1"), {}, "of its value"),
        (("0.1 ± 0.01 %", None), {"uncertainty_column": None, "uncertainty_coverage": None},
         "doesn't state what it covers"),
        (("0.1 % @ 4 Ω", None), {}, "states 4 Ω where the map states 8 Ω"),
    ],
)  # fmt: skip
def test_uncertainties_and_conditions_that_cannot_stand_are_left_out(
    cells: tuple[object, object], reading: dict[str, object], message: str
) -> None:
    (problem,) = parsed([row(*cells)], **reading).problems
    assert message in problem.reason
    assert problem.suggestion


def test_totals_footnotes_and_headings_said_again_are_no_units() -> None:
    contents = parsed([
        row("0.1 %"), ["Date", "Maker", "Model", "THD", "±"], row("0.2 *", model="Stilt"),
        ["", "Average", "", 0.15, ""], ["", "Push-pull amplifiers", "", "", ""],
        ["* re the rated power of 4 ohm", "", "", "", ""], row("0.3 %", model="Total"),
    ])  # fmt: skip
    assert [other.what for other in contents.others] == [
        "the headings again", "a total", "a title", "a footnote",
    ]  # fmt: skip
    (problem,) = contents.problems
    assert "the footnote in row 7" in problem.reason
    assert {unit["model"] for r in contents.records.values() for unit in r.units.values()} == {
        "Heron", "Stilt", "Total",
    }  # fmt: skip
