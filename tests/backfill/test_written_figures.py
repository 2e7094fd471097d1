"""Figures as people write them, and maps and sheets that don't fit."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from backbench.backfill.column_map import read_map
from backbench.backfill.parse_records import parse_sheet
from backbench.backfill.sheet_addresses import column
from backbench.backfill.spreadsheet import read_sheet
from backbench.documents.manifest import read_manifest
from backbench.documents.unit_facts import key_of
from backbench.errors import UserError
from backbench.ingest.entered_figures import entered_faults
from old_records import HEADINGS, MAP, Messy, Percent, write_csv, write_ods, write_xlsx


def test_columns_have_the_letters_of_a_spreadsheet() -> None:
    assert [column(n) for n in (0, 25, 26, 51, 52, 701, 702)] == [
        "A", "Z", "AA", "AZ", "BA", "ZZ", "AAA",
    ]  # fmt: skip


def test_a_text_becomes_a_key() -> None:
    assert key_of("Marröwgate  Heron/40 (II)") == "marrowgate-heron-40-ii"


def test_a_map_with_faults_is_reported_whole(tmp_path: Path) -> None:
    text = MAP.replace("mains_hz = { always = 50 }\n", "").replace('"thd"', '"thdd"')
    (tmp_path / "map.toml").write_text(text)
    with pytest.raises(UserError) as raised:
        read_map(tmp_path / "map.toml")
    message = str(raised.value)
    assert "review.mains_hz" in message
    assert "did you mean thd" in message


def test_a_sheet_without_a_mapped_column_is_reported(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(MAP)
    (tmp_path / "old.csv").write_text("No.,Date\n1,2\n")
    with pytest.raises(UserError, match="no column 'Maker'"):
        parse_sheet(read_sheet(tmp_path / "old.csv"), read_map(tmp_path / "map.toml"))


@pytest.mark.parametrize(
    ("name", "data", "message"),
    [
        ("a.csv", b"A,A\n1,2\n", "the heading 'A' twice"), ("a.csv", b"", "0 rows"),
        ("a.xlsx", b"not a workbook", "the spreadsheet can't be read"),
        ("a.pdf", b"x", "an ending '.pdf'"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_sheet_is_reported(
    tmp_path: Path, name: str, data: bytes, message: str
) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(UserError, match=message):
        read_sheet(tmp_path / name)


def test_texts_of_an_old_code_page_are_read(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes("Größe;n\n5 µV;1\n".encode("cp1252"))
    sheet = read_sheet(tmp_path / "a.csv")
    assert sheet.headings == ["Größe", "n"]
    assert sheet.rows[0].cells["Größe"].text == "5 µV"


ENTERED = """
[review]
key = "1998-03-heron"
date = 1998-03-01
bench = "notebook"
mains_hz = 50
[[unit]]
key = "heron-40"
maker = "Marrowgate"
model = "Heron 40"
kind = "integrated amplifier"
technology = "tube"
state = "as received"
[[entered]]
metric = "{metric}"
unit = "heron-40"
output = "left"
value = "{value}"
origin = "notebook 3, page 12"
"""


@pytest.mark.parametrize(
    ("metric", "value", "message"),
    [
        ("thdd", "1 %", "did you mean thd"),
        ("thd", "much", "no quantity"),
        ("thd", "1 %", None),
        ("thd", "0,08 %", None),
        ("thd", "1,234 %", "write 1.234 % or 1234 %"),
        ("thd", "1e400 %", "out of the range"),
        ("thd", "99999999 dB", "more than 400 dB"),
    ],
)
def test_figures_entered_by_hand_are_checked(metric: str, value: str, message: str | None) -> None:
    manifest = read_manifest(ENTERED.format(metric=metric, value=value).encode())
    faults = [str(fault) for fault in entered_faults(manifest)]
    assert (message is None) == (not faults)
    assert message is None or message in faults[0]


def test_a_figure_twice_and_a_unit_unknown_are_reported() -> None:
    text = ENTERED.format(metric="thd", value="1 %")
    again = text[text.index("[[entered]]") :]
    (fault,) = entered_faults(read_manifest((text + again).encode()))
    assert "the same as entered 1" in str(fault)
    with pytest.raises(UserError, match="a unit of this review"):
        read_manifest((text + again.replace("heron-40", "heron-41")).encode())


def read(tmp_path: Path, cells: list[str], how: str = MAP) -> tuple[list[str], list[str]]:
    """What a column of THD is taken for, and why the rest is left out."""
    (tmp_path / "map.toml").write_text(how)
    facts = ["2001-02-03", "Maker", "Model", "amp", "valve", "", "ok", ""]
    rows = [[f"r{n}", *facts, cell, "", "", "", ""] for n, cell in enumerate(cells)]
    write_csv(tmp_path / "old.csv", Messy(rows=rows))
    result = parse_sheet(read_sheet(tmp_path / "old.csv"), read_map(tmp_path / "map.toml"))
    return [one.value for one in result.parsed], [one.reason for one in result.problems]


def test_a_column_settles_its_decimal_sign(tmp_path: Path) -> None:
    assert read(tmp_path, ["0,08 %", "1,234"]) == (["0.08 %", "1.234 %"], [])
    assert read(tmp_path, ["0.08 %", "1,234"]) == (["0.08 %", "1234 %"], [])
    assert read(tmp_path, ["5 %", "1,234"])[0] == ["5 %"]


def test_a_column_with_both_decimal_signs_is_left_out_but_for_whole_numbers(tmp_path: Path) -> None:
    values, reasons = read(tmp_path, ["0,08 %", "0.08 %", "2 %"])
    assert values == ["2 %"]
    assert len(reasons) == 2
    assert "in J2 has a decimal comma, '0.08 %' in J3 a decimal point" in reasons[0]
    stated = read(tmp_path, ["0,08 %", "0.08 %"], 'decimal = ","\n' + MAP)
    assert stated[0] == ["0.08 %"]
    assert "another decimal sign" in stated[1][0]


def test_a_bound_of_the_other_sign_is_the_other_bound(tmp_path: Path) -> None:
    how = MAP.replace('unit = "%"', 'unit = "%"\nnegate = true')
    assert read(tmp_path, ["< -0.5 %"], how)[0] == ["> 0.5 %"]


@pytest.mark.parametrize(("ending", "write"), [("xlsx", write_xlsx), ("ods", write_ods)])
def test_percentages_stored_as_fractions_are_read_as_shown(
    tmp_path: Path, ending: str, write: Callable[[Path, list[list[object]]], None]
) -> None:
    (tmp_path / "map.toml").write_text(MAP)
    facts = ["2001-02-03", "Maker", "Model", "amp", "valve", "", "ok", ""]
    cells: list[object] = [Percent(0.0008), Percent(0.0123), 0.08]
    rows = [[f"r{n}", *facts, cell, "", "", "", ""] for n, cell in enumerate(cells)]
    write(tmp_path / f"old.{ending}", [list(HEADINGS), *rows])
    sheet = read_sheet(tmp_path / f"old.{ending}")
    result = parse_sheet(sheet, read_map(tmp_path / "map.toml"))
    assert [one.value for one in result.parsed] == ["0.08 %", "1.23 %", "0.08 %"]
