"""What the demonstration makes, and commands on the catalogue that it leaves.

It is the demonstration of every fifth review; with --whole-demonstration, which `.ci/run` gives, it
is the whole one.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

import polars as pl
import pytest

import backbench
import golden_readings
from backbench.errors import UserError
from backbench.seed_dataset.maker import CUT_SHORT, REVIEWS
from backbench.seed_dataset.scenario import scenario
from backbench.seed_dataset.truth import truth
from backbench.storage.database import DATABASE_NAME, reading
from backbench.storage.vault import read_receipt
from commands_run import run as run_here
from demonstration import Demo, run
from part_of_demonstration import WITH


def test_golden(demo: Demo) -> None:
    """Of units that stand in the whole demonstration and in its part."""
    rows = backbench.open(demo.folder).readings().filter(pl.col("unit_key").is_in(WITH))
    golden_readings.agree("demonstration", rows)


def test_it_takes_in_every_unit_of_its_scenario(demo: Demo) -> None:
    catalogue = backbench.open(demo.folder)
    assert set(catalogue.units()["unit_key"]) == {unit.key for unit in demo.scenario.units}
    standing = {one.key for one in demo.scenario.reviews if "wrong-load" not in one.extras}
    assert set(catalogue.reviews()["review_key"]) == standing
    per_review = catalogue.captures().group_by("review_key").len()["len"]
    assert per_review.min() >= 8  # type: ignore[operator]
    assert per_review.max() <= 41  # type: ignore[operator]
    made = {unit.made for unit in demo.scenario.units}
    assert set(catalogue.units()["made_first"].drop_nulls()) == made


def test_no_capture_failed_but_a_file_that_was_cut_short(demo: Demo) -> None:
    failed = backbench.open(demo.folder).captures().filter(pl.col("status") != "analysed")
    short = [review.key for review in demo.scenario.reviews if "cut-short" in review.extras]
    assert failed.select("review_key", "file").rows() == [(key, CUT_SHORT) for key in short]
    assert failed["reason"].str.contains("damaged").all()


def test_the_review_into_a_wrong_load_is_withdrawn(demo: Demo) -> None:
    wrong = {review.key for review in demo.scenario.reviews if "wrong-load" in review.extras}
    receipts = [read_receipt(path) for path in (demo.folder / "ledger").glob("[0-9]*.json")]
    assert {receipt.review for receipt in receipts if receipt.withdrawn} == wrong
    assert wrong


def test_every_query_has_an_answer(demo: Demo) -> None:
    if demo.scenario.reviews != scenario().reviews:
        pytest.skip("holds for the whole demonstration")
    catalogue = backbench.open(demo.folder)
    with catalogue.reading():
        empty = [name for name in catalogue.queries() if not catalogue.query(name).height]
    assert empty == []


def test_it_names_its_folder_and_what_to_try_next(demo: Demo) -> None:
    assert str(demo.folder) in demo.output
    assert "Try next" in demo.output
    assert "Specifications" in demo.output
    assert max(map(len, demo.output.splitlines())) <= 80 + len(str(demo.folder))


def test_it_stays_small(demo: Demo) -> None:
    size = sum(f.stat().st_size for f in demo.folder.rglob("*") if f.is_file())
    assert size <= 300e6


def test_every_charted_query_is_drawn_for_reading_offline(demo: Demo) -> None:
    queries = backbench.open(demo.folder).queries()
    charted = {name for name, query in queries.items() if query.chart}
    drawn = {path.stem for path in (demo.folder / "published").glob("*.html")}
    assert charted <= drawn
    assert len(charted) >= 8


def test_the_run_history_knows_the_run(demo: Demo) -> None:
    assert (demo.folder / ".runs" / "prefect.db").stat().st_size > 0


def test_readings_find_what_the_scenario_put_in(demo: Demo) -> None:
    """Invented data, so no evidence of correctness: it shows that nothing is lost on the way."""
    catalogue = backbench.open(demo.folder)
    review = "2019-09-halyard-20"
    known = truth(review)
    rows = catalogue.readings().filter(
        pl.col("review_key") == review, pl.col("metric") == "source_impedance"
    )
    for output in known.outputs:
        (value,) = rows.filter(pl.col("output") == output.output)["value"].to_list()
        assert value == pytest.approx(output.source_impedance_ohm, rel=0.02)


def test_rebuilding_gives_the_same_content(demo: Demo, tmp_path: Path) -> None:
    """Of some units' reviews over all the years; what is told of a unit rests on all of its own."""
    whole, part = demo.folder, tmp_path / "catalogue"
    receipts = sorted((whole / "ledger").glob("[0-9]*.json"))
    withdrawn = {read_receipt(path).review for path in receipts if read_receipt(path).withdrawn}
    some = {read_receipt(path).review for path in receipts[:: max(4, len(receipts) // 6)]}
    chosen = with_their_units(whole, some) - withdrawn
    left_out = {path.name for path in receipts if read_receipt(path).review not in chosen}
    left_out |= {REVIEWS, "published", ".runs", DATABASE_NAME, "vault"}
    shutil.copytree(whole, part, ignore=lambda _, names: left_out & set(names))
    shutil.copytree(whole / "vault", part / "vault", copy_function=os.link)
    assert run("rebuild", "-c", part).returncode == 0
    before, after = rows_by_review(whole), rows_by_review(part)
    assert {key for key, rows in after["review"].items() if rows} == chosen
    assert len(chosen) >= 4
    for table, rows in after.items():
        assert rows == {key: before[table].get(key) for key in rows}, table
        assert rows.keys() == before[table].keys() & chosen, table


def with_their_units(folder: Path, reviews: set[str]) -> set[str]:
    """These reviews, and all others of the units in them."""
    with reading(folder) as opened:
        pairs = opened.rows("SELECT review_key, unit_key FROM appearance")
    while True:
        units = {unit for review, unit in pairs if review in reviews}
        more = {review for review, unit in pairs if unit in units}
        if more <= reviews:
            return reviews
        reviews |= more


def rows_by_review(folder: Path) -> dict[str, dict[str, list[tuple[Any, ...]]]]:
    """The rows of each review in every table that has some, sorted."""
    result: dict[str, dict[str, list[tuple[Any, ...]]]] = {}
    with reading(folder) as opened:
        for table in opened.tables():
            columns = opened.frame(f"FROM {table} LIMIT 0").columns
            if "review_key" in columns:
                result[table] = {}
                for row in sorted(opened.rows(f"FROM {table}"), key=repr):
                    key = row[columns.index("review_key")]
                    result[table].setdefault(key, []).append(row)
    return result


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["compare", "halyard-02"], "halyard-20"),
        (["query", "idle-noise-of-technolgy"], "idle-noise-of-technology"),
        (["query", "idle-noise-of-technology", "--set", "technology"], "name=value"),
        (["query", "idle-noise-of-technology", "--set", "tech=tube"], "no such parameter"),
        (["chart", "balance-against-age", "age.gif"], ".png"),
        (["chart", "balance-against-age", "age.png", "--size", "big"], "pixels"),
        (["show", "2019-09-halyard"], "2019-09-halyard-20"),
        (["query", "idle-noise-of-technology", "-f", "xls"], "csv"),
        (["ingest", "nowhere"], "no such file"),
        (["chart", "balance-against-age", "nowhere/age.svg"], "nowhere/age.svg"),
    ],
)
def test_a_slip_is_answered_with_what_to_do(
    demo: Demo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], message: str
) -> None:
    monkeypatch.chdir(tmp_path)
    try:
        answer = run_here(*words, "-c", demo.folder, codes=(1,)).output
    except (UserError, OSError) as error:  # which the command line prints
        answer = str(error)
    assert message in answer


def test_a_folder_that_is_no_catalogue_is_reported(tmp_path: Path) -> None:
    ran = run("reviews", "-c", tmp_path)
    assert ran.returncode == 1
    assert "backbench init" in ran.stderr
    assert "Traceback" not in ran.stderr


def test_a_demonstration_never_writes_over_anything(demo: Demo) -> None:
    with pytest.raises(UserError, match="empty folder"):
        run_here("demo", demo.folder)


@pytest.mark.parametrize("form", ["csv", "json", "markdown"])
def test_results_come_in_forms_for_other_programs(demo: Demo, form: str) -> None:
    ran = run_here("query", "damping-by-technology", "-f", form, "-c", demo.folder)
    assert "halyard-20" in ran.stdout
