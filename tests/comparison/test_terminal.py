"""What a terminal is shown, and what files hold."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from backbench.comparison.unit_comparison import compare_unit
from backbench.errors import UserError
from backbench.querying.saved_queries import shipped
from backbench.reports.comparison_report import show_comparison
from backbench.reports.export_formats import export
from backbench.reports.terminal_tables import (
    quantity,
    show_frame,
    show_queries,
)
from backbench.storage.database import reading


def lines(show: Any, *args: Any) -> list[str]:
    stream = io.StringIO()
    show(*args, stream=stream)
    text = stream.getvalue()
    assert "\x1b" not in text
    assert max(len(line) for line in text.splitlines()) <= 80
    return [line.rstrip() for line in text.splitlines()]


def catalogue(given: Any) -> Path:
    for n in range(8):
        key = f"long-unit-key-number-{n}"
        given.unit(key, model=f"Nightjar Reference Series {n}")
        given.reading(key, "noise_a", 1e-4 * (n + 1), 2e-6, under="idle")
        given.reading(key, "thd", 0.1 * (n + 1), 0.004, power_w=5.0)
        given.reading(key, "damping_factor", 5.0 + n, 0.2, frequency_hz=1000.0)
    given.published(
        "long-unit-key-number-2", "thd", "at most", 0.5, power_w=5.0, frequency_hz=1000.0
    )
    folder: Path = given.build()
    return folder


def test_comparison_fits_and_opens_with_the_verdicts(given: Any) -> None:
    with reading(catalogue(given)) as store:
        result = compare_unit(store, "long-unit-key-number-2")
    shown = lines(show_comparison, result)
    text = " ".join(shown)
    assert text.index("Specifications") < text.index("Rank among ")
    assert "meets" in text
    assert "3rd of 8" in " ".join(text.split())


def test_every_query_result_fits(given: Any) -> None:
    with reading(catalogue(given)) as store:
        for query in shipped().values():
            lines(show_frame, query.run(store), query)
    assert any("idle-noise" in line for line in lines(show_queries, shipped()))


def test_columns_without_room_are_named(given: Any) -> None:
    frame = pl.DataFrame({f"column_{n:02}": ["x" * 30] for n in range(12)})
    assert "column_11" in " ".join(lines(show_frame, frame, None))


@pytest.mark.parametrize(
    ("value", "unit", "u", "message"),
    [
        (1.234e-4, "V", 1e-6, "123.4 µV ± 2.0 µV"), (0.5, "%", None, "0.5 %"),
        (-60.25, "dB", 0.1, "-60.25 dB ± 0.20 dB"), (20.0, "1", None, "20"),
        (38000.0, "Hz", None, "38 kHz"), (0.0, "V", None, "0 V"), (0.1, "ohm", None, "100 mΩ"),
        (1e-3, "V", None, "1 mV"), (999.96, "W", None, "1 kW"),
    ],
)  # fmt: skip
def test_quantities(value: float, unit: str, u: float | None, message: str) -> None:
    assert quantity(value, unit, u) == message


FRAME = pl.DataFrame({"key": ["a|b", None], "value": [1.25, 2.5], "list": [[1, 2], None]})


def test_formats_hold_the_same(tmp_path: Path) -> None:
    for name in ("csv", "json", "parquet", "markdown"):
        export(FRAME, name, tmp_path / name)
    assert pl.read_parquet(tmp_path / "parquet").equals(FRAME)
    assert pl.read_csv(tmp_path / "csv")["value"].to_list() == [1.25, 2.5]
    assert json.loads((tmp_path / "json").read_text())[0] == {
        "key": "a|b", "value": 1.25, "list": [1, 2],
    }  # fmt: skip
    assert (tmp_path / "markdown").read_text().splitlines()[2] == "| a\\|b | 1.25 | [1, 2] |"


def test_bad_formats_and_places_are_reported(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="format: found xml"):
        export(FRAME, "xml")
    with pytest.raises(UserError, match="No such file"):
        export(FRAME, "csv", tmp_path / "none" / "file.csv")


def test_names_can_not_steer_the_terminal(given: Any) -> None:
    """Control characters and markup in names come out as ? and as they stand."""
    for n in range(7):
        given.unit(
            f"u{n}", maker="Bad\x1b[2J\x07[red]Maker", model=f"\r\nModel {n}\u202e", made=1960
        )
        given.reading(f"u{n}", "noise_a", 1e-4 * (n + 1), 1e-6, under="idle")
        given.reading(f"u{n}", "thd", 0.1 * (n + 1), 1e-3)
        given.reading(f"u{n}", "gain", 20.0 + n, 0.1)
    given.published("u1", "thd", "at most", 0.5, printed_in="\x1b]0;title\x07")
    with reading(given.build()) as store:
        shown = lines(show_comparison, compare_unit(store, "u1"))
        frame = store.frame("SELECT label, unit_key FROM peer ORDER BY unit_key")
    text = "\n".join([*shown, *lines(show_frame, frame)])
    assert "Bad?[2J?[red]Maker" in text.replace("\n", "")
    assert all(c.isprintable() or c == "\n" for c in text)


def test_few_peers_are_reported_in_place_of_a_rank(given: Any) -> None:
    given.unit("a")
    given.unit("b")
    for key in ("a", "b"):
        given.reading(key, "noise_a", 1e-4, 1e-6, under="idle")
    with reading(given.build()) as store:
        text = " ".join(lines(show_comparison, compare_unit(store, "a")))
    assert "no rank: 1 other" in text
    assert "choose others with --peers" in " ".join(text.split())


def test_a_value_keeps_its_unit_where_there_is_little_room(given: Any) -> None:
    names = [column.name for column in shipped()["before-and-after-work"].columns]
    row: dict[str, Any] = dict.fromkeys(names, "a text of some width")
    row |= {"before": 0.00036, "before_u": 4e-6, "after": 0.00022, "after_u": None}
    row |= {"unit": "V", "beyond": 18.0, "assessment": "better"}
    message = lines(show_frame, pl.DataFrame([row]), shipped()["before-and-after-work"])
    head = " ".join(message[:8])
    assert all(word in head for word in ("received", "After", "Assessment"))
    assert all(any(text in line for line in message) for text in ("360.0 µV", "220 µV"))
    assert any("Conditions: one output before and after; noise at idle" in line for line in message)


def test_a_trend_over_years_of_making_is_reported_per_year(given: Any) -> None:
    for k in range(11):
        given.unit(f"u{k}", made=1900 + 10 * k)
        given.reading(f"u{k}", "damping_factor", 10.0 + k)
    query = shipped()["damping-over-the-decades"]
    with reading(given.build()) as store:
        message = lines(show_frame, query.run(store), query)
    assert any("+1 a decade" in line for line in message)


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("<script>alert(1)</script>", "&lt;script&gt;alert(1)&lt;/script&gt;"),
        ("R&D, < 0.1 %", "R&amp;D, &lt; 0.1 %"),
        ("a\\|b", "a\\\\\\|b"),
        ("[click](https://a.example)", "[click\\](https://a.example)"),
        ("two\r\nlines\u2028and more", "two lines and more"),
    ],
)
def test_a_cell_is_no_markup_in_markdown(tmp_path: Path, text: str, written: str) -> None:
    export(pl.DataFrame({"note": [text]}), "markdown", tmp_path / "table.md")
    assert (tmp_path / "table.md").read_text(encoding="utf-8").splitlines()[2] == f"| {written} |"


def test_a_value_with_the_unit_of_its_row_stays_a_number_in_files(tmp_path: Path) -> None:
    query = shipped()["bench-over-time"]
    names = [column.name for column in query.columns]
    row: dict[str, Any] = dict.fromkeys(names, "") | {"value": 1.46e-6, "u": 1.7e-8, "unit": "V"}
    frame = pl.DataFrame([row, {**row, "value": 0.0, "u": 0.04, "unit": "dB"}])
    message = "\n".join(lines(show_frame, frame, query))
    assert "1.460 µV" in message
    assert "17 nV" in message
    assert "0.000 dB" in message
    export(frame, "csv", tmp_path / "out.csv", query)
    assert pl.read_csv(tmp_path / "out.csv")["value"].to_list() == [1.46e-6, 0.0]


@pytest.mark.parametrize("value", ["a text", None, True, 12])
def test_a_value_beside_a_unit_that_is_no_quantity_is_shown_as_it_is(value: Any) -> None:
    query = shipped()["bench-over-time"]
    row: dict[str, Any] = {column.name: None for column in query.columns} | {"value": value}
    shown = " ".join(lines(show_frame, pl.DataFrame([row]), query))
    assert {True: "yes", None: "1 row"}.get(value, str(value)) in shown


def test_what_is_the_same_in_every_row_goes_first_and_is_put_in_a_line() -> None:
    frame = pl.DataFrame({
        "bench": ["garage"] * 2, "nothing": ["", ""],
        **{f"a_longer_number_{n}": [10**15 + n, 10**15] for n in range(1, 5)},
    })  # fmt: skip
    shown = lines(show_frame, frame, None)
    assert "the same in every row shown: bench: garage" in shown
    assert "without an entry in any row shown: nothing" in shown
    assert not any("columns not shown" in line for line in shown)


def test_a_bound_is_marked_however_narrow_the_table_is() -> None:
    query = shipped()["hum-of-a-unit"]
    row: dict[str, Any] = {column.name: 1234.5678 for column in query.columns}
    row |= {"unit_key": "k" * 12, "label": "l" * 30, "output": "left", "bound": "upper"}
    shown = lines(show_frame, pl.DataFrame([row, {**row, "bound": None}]), query)
    assert any("Bound" in line for line in shown[:8])
