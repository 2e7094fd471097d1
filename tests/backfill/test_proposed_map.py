"""Maps proposed from headings and cells: what they hold, and what they leave to be stated."""

from __future__ import annotations

from pathlib import Path

import pytest

from backbench.backfill.column_map import ColumnMap, read_map
from backbench.backfill.heading_rows import found_headings, joined_headings
from backbench.backfill.heading_words import HeadingOfFigures, fact_named, figures_named
from backbench.backfill.map_questions import questions
from backbench.backfill.map_text import map_text
from backbench.backfill.proposed_map import Proposal, propose
from backbench.backfill.spreadsheet import Grid, read_grid
from backbench.errors import UserError
from backbench.metrics.registry import registry
from backfill.kept_sheets import several_sheets, wide_sheet
from old_records import HEADINGS, MAP, messy, write_csv


@pytest.mark.parametrize(
    ("rows", "result"),
    [
        ([["Maker", "Model", "Date"], ["A", "B", "2001"]], (1, 1)),
        ([["Amps I had"], [], ["Maker", "Model", "THD"], ["A", "B", "1 %"]], (3, 1)),
        ([["", "", "THD", ""], ["Maker", "Model", "1 W", "10 W"], ["A", "B", "1", "2"]], (1, 2)),
        ([["Maker", "Model", "THD", ""], ["", "", "1 W", "10 W"], ["A", "B", "1", "2"]], (1, 2)),
        ([["Maker", "Model", "Notes"], ["A", "B", ""], ["C", "D", "x"]], (1, 1)),
        ([["a", "b"], ["1", "2"]], None),
        ([], None),
    ],
)
def test_the_heading_row_is_found(rows: list[list[str]], result: tuple[int, int] | None) -> None:
    assert found_headings(rows) == result


def test_a_heading_over_several_columns_goes_before_each() -> None:
    above, below = ["", "THD", "", "", "Noise"], ["Model", "1 W", "10 W", "Notes", "A"]
    assert joined_headings([above, below]) == ["Model", "THD 1 W", "THD 10 W", "Notes", "Noise A"]


@pytest.mark.parametrize(
    ("heading", "metric", "at", "unit", "output"),
    [
        ("THD 1 W", "thd", {"power_w": 1}, None, "both"),
        ("THD+N 1k 5W 8R (%)", "thd_n", {"frequency_hz": 1000, "power_w": 5, "load_ohm": 8},
         "%", "both"),
        ("Power @ 1 % THD into 8 ohm", "power_at_limit", {"limit_percent": 1, "load_ohm": 8}, None,
         "both"),
        ("Hum & noise, mV", "noise", {}, "mV", "both"), ("L noise mV", "noise", {}, "mV", "left"),
        ("Sep. 1k", "separation", {"frequency_hz": 1000}, None, "both"),
        ("Noise, A-weighted (µV)", "noise_a", {}, "µV", "both"),
        ("-3 dB high", "response_high_3db", {}, None, "both"),
    ],
)  # fmt: skip
def test_a_heading_names_metric_conditions_unit_and_output(
    heading: str, metric: str, at: dict[str, float], unit: str | None, output: str
) -> None:
    assert figures_named(heading) == HeadingOfFigures(metric, at, unit, output)


def test_uncertainties_belong_to_the_column_that_their_heading_names(tmp_path: Path) -> None:
    """Wherever they stand; without a name to the column before; of none that is there to none."""
    (tmp_path / "old.csv").write_text(
        "Maker,Model,Date,THD (%),Hum & noise (mV),THD uncertainty (%),u (mV),Gain unc (dB)\n"
        "A,B,2001-02-03,0.1,0.3,0.01,0.02,0.1\n"
    )
    made = propose(tmp_path / "old.csv", read_grid(tmp_path / "old.csv"), None)
    assert {one.named.metric: one.spread_column for one in made.readings} == {
        "thd": "THD uncertainty (%)", "noise": "u (mV)",
    }  # fmt: skip
    assert made.unused == ["Gain unc (dB)"]


@pytest.mark.parametrize("heading", ["Shelf", "Price", "IMD", "1 W", "", "THD second opinion"])
def test_a_heading_that_may_be_anything_is_left_out(heading: str) -> None:
    assert figures_named(heading) is None
    assert fact_named(heading) is None


def test_what_old_records_call_a_metric_stands_with_one() -> None:
    called = [n.lower() for m in registry().metrics.values() for n in m.traits.also_called]
    assert len(called) == len(set(called))


def test_the_map_of_a_messy_sheet_is_proposed(tmp_path: Path) -> None:
    write_csv(tmp_path / "old.csv", messy(60))
    (tmp_path / "map.toml").write_text(MAP)
    by_hand = read_map(tmp_path / "map.toml")
    made = propose(tmp_path / "old.csv", read_grid(tmp_path / "old.csv"), None)
    assert {name: fact.column for name, fact in made.facts.items()} == {
        f"{group}.{name}": fact.column
        for group, facts in (("review", by_hand.review), ("unit", by_hand.unit))
        for name, fact in facts.items() if fact.column
    }  # fmt: skip
    assert [one.column for one in made.readings] == HEADINGS[-5:]
    assert [one.named.metric for one in made.readings] == [one.metric for one in by_hand.reading]
    assert made.dates == ["%d.%m.%Y", "%d/%m/%y"]
    assert made.missing == ["review.bench", "review.mains_hz"]


def test_a_map_that_lacks_something_says_so_and_is_refused(tmp_path: Path) -> None:
    made = propose(sheet := wide_sheet(tmp_path), read_grid(sheet), None)
    (tmp_path / "map.toml").write_text(map_text(made))
    assert "# 'reciever' (1×) has no meaning in `words` yet" in map_text(made)
    assert "# uncertainty_coverage = 2  # needed beside it" in map_text(made)
    with pytest.raises(UserError, match=r"review\.bench"):
        read_map(tmp_path / "map.toml")


def answered(made: Proposal, answers: dict[str, str]) -> None:
    for question in questions(made):
        question.take(next(answer for part, answer in answers.items() if part in question.text))


def test_a_map_with_every_answer_reads_back(tmp_path: Path) -> None:
    made = propose(sheet := wide_sheet(tmp_path), read_grid(sheet), "Amps")
    answered(made, {"bench": "My notebook", "mains": "50 Hz", "technology": "tube",
                    "reciever": "receiver", "cover": "95 %"})  # fmt: skip
    assert list(questions(made)) == []
    (tmp_path / "map.toml").write_text(map_text(made))
    how = read_map(tmp_path / "map.toml")
    assert (how.sheet, how.header_row, how.heading_rows) == ("Amps", 3, 2)
    assert how.review["bench"].always == "my-notebook"
    assert how.review["mains_hz"].always == 50
    assert how.unit["kind"].words["reciever"] == "receiver"
    assert how.reading[2].uncertainty_coverage == 2


def test_days_that_may_be_two_are_left_open() -> None:
    cells: list[list[object]] = [["Maker", "Model", "Date", "THD"], ["A", "B", "03/04/2011", "1 %"]]
    made = propose(Path("x.csv"), Grid("x.csv", cells, set()), None)  # type: ignore[arg-type]
    assert made.dates == []
    text = map_text(made)
    assert '# dates = ["%d/%m/%Y"]  # 3 April 2011' in text
    assert '# dates = ["%m/%d/%Y"]  # 4 March 2011' in text
    cells.append(["A", "C", "25/04/2011", "1 %"])
    made = propose(Path("x.csv"), Grid("x.csv", cells, set()), None)  # type: ignore[arg-type]
    assert made.dates == ["%d/%m/%Y"]


def test_answers_that_make_no_sense_are_refused(tmp_path: Path) -> None:
    made = propose(sheet := wide_sheet(tmp_path), read_grid(sheet), None)
    mains = next(question for question in questions(made) if "mains" in question.text)
    with pytest.raises(ValueError, match="apples"):
        mains.take("5 apples")


def test_a_sheet_without_headings_is_refused(tmp_path: Path) -> None:
    sheet = several_sheets(tmp_path)
    with pytest.raises(UserError, match="no row of headings"):
        propose(sheet, read_grid(sheet, "Read me"), "Read me")


def test_the_keys_of_a_proposal_are_those_of_a_map() -> None:
    assert {"sheet", "header_row", "heading_rows", "dates", "units"} <= set(ColumnMap.model_fields)
