"""Files of a few bytes that describe gigabytes are given up in words; stray and long cells too."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from backbench.backfill import text_sheets
from backbench.backfill.column_map import read_map
from backbench.backfill.parse_records import parse_sheet
from backbench.backfill.spreadsheet import read_sheet
from backbench.errors import UserError
from backbench.readers import delimited, limited_process
from backbench.readers.file_formats import read_table
from backbench.readers.parquet import read_parquet_here
from corpus.malformed_sheets import sheets
from corpus.run_corpus import TABLE
from old_records import HEADINGS, MAP, write_xlsx


def parquet(rows: int, stated: int | None = None) -> bytes:
    """A table of equal rows; stated: how many rows its file's metadata say it has."""
    out = io.BytesIO()
    ones = pl.repeat(1.0, rows, eager=True)
    pl.DataFrame({"f": ones, "a": ones}).write_parquet(
        out, row_group_size=rows, data_page_size=1 << 40
    )
    data = out.getvalue()
    return data if stated is None else data.replace(_varint(2 * rows), _varint(2 * stated, 4))


def _varint(number: int, size: int = 1) -> bytes:
    """A whole number as Thrift's compact protocol writes it, in at least so many bytes."""
    groups = []
    while number or len(groups) < size:
        groups.append(number & 127)
        number >>= 7
    return bytes([*(group | 128 for group in groups[:-1]), groups[-1]])


def refused(path: Path) -> str:
    with pytest.raises(UserError) as raised:
        read_table(path, TABLE)
    return str(raised.value)


def test_a_sound_table_comes_back_from_the_other_process(tmp_path: Path) -> None:
    hertz = np.geomspace(20, 20_000, 59)
    pl.DataFrame({"f": hertz, "a": -hertz / 1e4}).write_parquet(tmp_path / "a.parquet")
    read = read_table(tmp_path / "a.parquet", TABLE)
    here = read_parquet_here(tmp_path / "a.parquet", "a.parquet", TABLE)
    for there, own in ((read.columns, here.columns), (read.uncertainty, here.uncertainty)):
        assert list(there) == list(own)
        for key, values in own.items():
            np.testing.assert_array_equal(there[key], values)
    assert read.remark == here.remark
    np.testing.assert_array_equal(read.columns["frequency"], hertz)


def test_faults_come_back_as_they_were(tmp_path: Path) -> None:
    pl.DataFrame({"f": ["x"], "a": [1.0]}).write_parquet(tmp_path / "a.parquet")
    assert "row 1, column 'f': found 'x'; expected a finite number" in refused(
        tmp_path / "a.parquet"
    )


def test_more_rows_than_the_file_says_are_given_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = parquet(20_000_000, stated=59)
    assert len(data) < 100_000
    (tmp_path / "a.parquet").write_bytes(data)
    monkeypatch.setattr(limited_process, "MEMORY_BYTES", 1 << 27)
    assert "unfolds to more than 1 GiB" in refused(tmp_path / "a.parquet")


def test_a_reading_that_does_not_end_is_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.parquet").write_bytes(parquet(59))
    monkeypatch.setattr(limited_process, "TIME_S", 0)
    assert "it takes more than 0 s to read" in refused(tmp_path / "a.parquet")
    monkeypatch.setattr(limited_process, "TIME_S", 30)
    monkeypatch.setattr(limited_process, "PATIENCE_S", 0)
    assert "it was not read after a wait of 0 s" in refused(tmp_path / "a.parquet")


def test_a_library_that_gives_way_is_a_fault() -> None:
    with pytest.raises(limited_process.TookTooMuch, match="gave way"):
        limited_process.read_in_process("backbench.readers.parquet", {})


STRAY = {"xlsx-cell-at-0.xlsx": None, "xlsx-cell-at-1.xlsx": "XFD1048576",
         "xlsx-cell-at-2.xlsx": "A1048576", "ods-repeated-4-1.ods": "8589934603"}  # fmt: skip
"""Workbooks of the corpus, and the cell that is named; None where the sheet can be read."""


def test_a_stray_cell_at_the_end_of_a_sheet_is_named(tmp_path: Path) -> None:
    for name, data in sheets():
        if name not in STRAY:
            continue
        (tmp_path / name).write_bytes(data)
        cell = STRAY[name]
        if cell is None:
            assert read_sheet(tmp_path / name).headings[:2] == ["Date", "Maker"]
        else:
            with pytest.raises(UserError, match=f"look at [A-Z]*{cell}"):
                read_sheet(tmp_path / name)


def test_long_cells_are_refused_alone(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(MAP)
    facts = ["2001-02-03", "Maker", "Model", "amp", "valve", "", "ok", ""]
    rows: list[list[object]] = [
        [f"r{n}", *facts, cell, "", "", "", ""] for n, cell in enumerate(["0.1 %", "9 " * 50_000])
    ]
    write_xlsx(tmp_path / "a.xlsx", [list(HEADINGS), *rows])
    result = parse_sheet(read_sheet(tmp_path / "a.xlsx"), read_map(tmp_path / "map.toml"))
    assert [cell.value for cell in result.parsed] == ["0.1 %"]
    assert [problem.reason for problem in result.problems] == ["a text of 99999 characters"]
    assert len(str(result.problems[0])) < 300


def test_a_cell_over_the_limit_of_text_files_is_reported(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("Maker,Model\n" + "x" * 200_000 + ",1\n")
    with pytest.raises(UserError, match="a cell of more than 131072 characters"):
        read_sheet(tmp_path / "a.csv")


def test_a_large_text_is_read_apart_as_it_is_here(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.csv"
    rows = [f"{10 * n}.5,-0.{n}5" for n in range(1, 20)]
    path.write_text("\n".join(["f,a", *rows, "300.5,"]) + "\n")
    here = delimited.read_delimited(path, "a.csv", TABLE)
    monkeypatch.setattr(delimited, "SMALL_BYTES", 0)
    apart = delimited.read_delimited(path, "a.csv", TABLE)
    assert apart.remark == here.remark
    assert apart.remark is not None
    for key, values in here.columns.items():
        np.testing.assert_array_equal(apart.columns[key], values)
        np.testing.assert_array_equal(apart.uncertainty[key], here.uncertainty[key])
    monkeypatch.setattr(limited_process, "TIME_S", 0)
    assert "text that was given up: it takes more than 0 s to read" in refused(path)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16-le", "utf-16-be"])
def test_the_first_lines_of_a_large_text_are_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, encoding: str
) -> None:
    path = tmp_path / "a.csv"
    lines = [f"{n},µ{n}" for n in range(400)]
    path.write_bytes("\n".join(["\ufeff" + lines[0], *lines[1:]]).encode(encoding))
    for size in range(1000, 1008):
        monkeypatch.setattr(delimited, "SMALL_BYTES", size)
        first = delimited.first_lines(path, "a.csv")
        assert first == lines[: len(first)]
        assert len(first) > 40
    monkeypatch.setattr(delimited, "SMALL_BYTES", 1 << 20)
    assert delimited.first_lines(path, "a.csv") == lines


def test_a_large_sheet_of_text_is_read_apart_as_it_is_here(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.csv"
    path.write_text('unit;year;remark\nAuk 4;1961;"one; two"\n;;\n')
    here = text_sheets.text_cells(path)
    monkeypatch.setattr(text_sheets, "SMALL_BYTES", 0)
    assert text_sheets.text_cells(path) == here == [
        ["unit", "year", "remark"], ["Auk 4", "1961", "one; two"], [None, None, None],
    ]  # fmt: skip
    monkeypatch.setattr(limited_process, "MEMORY_BYTES", 0)
    with pytest.raises(UserError, match="a text that was given up: it unfolds"):
        text_sheets.text_cells(path)


def test_a_line_that_is_one_endless_quotation_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text('f,a\n1,2\n"' + "x" * 200_000 + "\n")
    assert "characters with quotation marks in line 3" in refused(path)
