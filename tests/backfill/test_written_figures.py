"""Figures as people write them, and maps and sheets that don't fit."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.backfill.column_map import read_map
from backbench.backfill.parse_records import plain, understand
from backbench.backfill.spreadsheet import column, read_sheet
from backbench.documents.manifest import read_manifest
from backbench.errors import UserError
from backbench.ingest.entered_figures import entered_faults
from backbench.quantities.figures import number_of, read_figure
from old_records import MAP


@pytest.mark.parametrize(
    ("text", "unit", "value", "bound"),
    [
        ("0,08 %", "%", 0.08, None), ("-75 dB", "%", 0.01778279410038923, None),
        ("< 0.01 %", "%", 0.01, "upper"), ("≥ 20 W", "W", 20.0, "lower"),
        ("0.1 %", "dB", -60.0, None), ("1.234,5 mV", "V", 1.2345, None),
        ("1 234,5 mV", "V", 1.2345, None), ("0 dBu", "V", 0.7745966692414834, None),
        ("-6 dBV", "V", 0.5011872336272722, None), ("2,5e-3 V", "V", 0.0025, None),
        ("8 Ω", "ohm", 8.0, None), ("20 kHz", "Hz", 20_000.0, None), ("42", "1", 42.0, None),
    ],
)  # fmt: skip
def test_a_figure_in_the_metrics_unit(
    text: str, unit: str, value: float, bound: str | None
) -> None:
    found = read_figure(text, unit)
    assert (found.value, found.bound) == (pytest.approx(value), bound)


def test_watts_and_volts_across_a_known_load() -> None:
    assert read_figure("8 V", "W", load_ohm=8.0).value == pytest.approx(8.0)
    assert read_figure("2 W", "V", load_ohm=8.0).value == pytest.approx(4.0)
    with pytest.raises(ValueError, match="can't be turned"):
        read_figure("8 V", "W")


@pytest.mark.parametrize(
    "text",
    ["", "low", "0.1-0.3 %", "~0.1 %", "± 0.5 dB", "1,234 %", "1.2.3 %", "5 apples", "inf %"],
)
def test_what_is_no_single_figure_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"no figure|single|decimal|turned|float"):
        read_figure(text, "%")


def test_a_stated_decimal_mark_settles_the_doubt() -> None:
    assert number_of("1,234", ",") == 1.234
    assert number_of("1,234", ".") == 1234
    with pytest.raises(ValueError, match="a thousand or a fraction"):
        number_of("1,234")


@given(st.floats(-1e9, 1e9).map(lambda v: float(f"{v:.6g}")), st.sampled_from([".", ","]))
def test_any_number_reads_back(value: float, decimal: str) -> None:
    text = f"{value:.10f}".replace(".", decimal)
    assert number_of(text, decimal) == pytest.approx(value, abs=1e-9)


def test_columns_have_the_letters_of_a_spreadsheet() -> None:
    assert [column(n) for n in (0, 25, 26, 51, 52, 701, 702)] == [
        "A", "Z", "AA", "AZ", "BA", "ZZ", "AAA",
    ]  # fmt: skip


def test_a_text_becomes_a_key() -> None:
    assert plain("Marröwgate  Heron/40 (II)") == "marrowgate-heron-40-ii"


def test_a_map_with_faults_is_told_whole(tmp_path: Path) -> None:
    text = MAP.replace("mains_hz = { always = 50 }\n", "").replace('"thd"', '"thdd"')
    (tmp_path / "map.toml").write_text(text)
    with pytest.raises(UserError) as raised:
        read_map(tmp_path / "map.toml")
    told = str(raised.value)
    assert "review.mains_hz" in told
    assert "did you mean thd" in told


def test_a_sheet_without_a_mapped_column_is_told(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(MAP)
    (tmp_path / "old.csv").write_text("No.,Date\n1,2\n")
    with pytest.raises(UserError, match="no column 'Maker'"):
        understand(read_sheet(tmp_path / "old.csv"), read_map(tmp_path / "map.toml"))


@pytest.mark.parametrize(
    ("name", "data", "told"),
    [
        ("a.csv", b"A,A\n1,2\n", "the heading 'A' twice"), ("a.csv", b"", "0 rows"),
        ("a.xlsx", b"not a workbook", "the spreadsheet can't be read"),
        ("a.pdf", b"x", "an ending '.pdf'"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_sheet_is_told(tmp_path: Path, name: str, data: bytes, told: str) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(UserError, match=told):
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
    ("metric", "value", "told"),
    [("thdd", "1 %", "did you mean thd"), ("thd", "much", "no figure"), ("thd", "1 %", None)],
)
def test_figures_entered_by_hand_are_checked(metric: str, value: str, told: str | None) -> None:
    manifest = read_manifest(ENTERED.format(metric=metric, value=value).encode())
    faults = [str(fault) for fault in entered_faults(manifest)]
    assert (told is None) == (not faults)
    assert told is None or told in faults[0]


def test_a_figure_twice_and_a_unit_unknown_are_told() -> None:
    text = ENTERED.format(metric="thd", value="1 %")
    again = text[text.index("[[entered]]") :]
    (fault,) = entered_faults(read_manifest((text + again).encode()))
    assert "the same as entered 1" in str(fault)
    with pytest.raises(UserError, match="a unit of this review"):
        read_manifest((text + again.replace("heron-40", "heron-41")).encode())
