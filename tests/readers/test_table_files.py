"""Reduced tables: declared columns, units, and faults that name line and cell."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.errors import UserError
from backbench.readers.file_formats import read_table, readers

RESPONSE = {"frequency": ("f", "kHz"), "level": ("out", "mV")}


def table(kind: str = "response", **columns: tuple[str, str]) -> Table:
    named = {key: TableColumn(name=n, unit=u) for key, (n, u) in (columns or RESPONSE).items()}
    return Table(table=kind, columns=named)  # type: ignore[arg-type]


def read(folder: Path, text: str | bytes, declared: Table | None = None) -> dict[str, list[float]]:
    path = folder / "t.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    columns = read_table(path, declared or table()).columns
    return {key: values.tolist() for key, values in columns.items()}


def faults(folder: Path, text: str | bytes, declared: Table | None = None) -> list[str]:
    with pytest.raises(UserError) as caught:
        read(folder, text, declared)
    assert caught.value.faults
    return [str(fault) for fault in caught.value.faults]


@pytest.mark.parametrize(
    "text",
    [
        "f,out\n0.1,500\n1,250\n",
        "\ufeff# a comment\nf,out\n# another\n0.1,500\n\n1,250",
        "n\tf\tout\r\n1\t0.1\t500\r\n2\t1\t 250\r\n",
        'out,"f"\n5e2,"0.1"\n250.,1e0\n',
    ],
)
def test_columns_are_found_by_name_and_brought_to_hertz_and_volts(
    tmp_path: Path, text: str
) -> None:
    result = read(tmp_path, text)
    assert_allclose(result["frequency"], [100, 1000], rtol=1e-15)
    assert_allclose(result["level"], [0.5, 0.25], rtol=1e-15)


def test_parquet_gives_the_same(tmp_path: Path) -> None:
    path = tmp_path / "kept-without-suffix"
    pl.DataFrame({"f": [0.1, 1.0], "out": [500, 250]}).write_parquet(path)
    result = read_table(path, table()).columns
    assert_allclose(result["frequency"], [100, 1000])
    assert_allclose(result["level"], [0.5, 0.25])


@pytest.mark.parametrize(("unit", "factor"), [("s", 1.0), ("ms", 1e-3), ("us", 1e-6)])
def test_units_are_prefixes_of_ten(tmp_path: Path, unit: str, factor: float) -> None:
    declared = table("trace", time=("t", unit), voltage=("v", "V"))
    assert read(tmp_path, "t,v\n3,1\n", declared)["time"] == pytest.approx([3 * factor])


def test_every_bad_cell_is_reported_by_its_line_in_the_file(tmp_path: Path) -> None:
    message = faults(tmp_path, "# one\nf,out\n1,2\n\n2,abc\n3,\n4,nan\n5,inf\n")
    assert [line.split(":")[0] for line in message] == [
        f"t.csv, line {n}, column 'out'" for n in (5, 6, 7, 8)
    ]
    assert "'abc'" in message[0]
    assert "an empty cell" in message[1]


def test_a_lacking_column_tells_those_that_are_there(tmp_path: Path) -> None:
    (message,) = faults(tmp_path, "f,level\n1,2\n")
    assert "no column 'out'" in message
    assert "f, level" in message
    (message,) = faults(tmp_path, "f,out,out\n1,2,3\n")
    assert "2 times" in message


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("f,out\n", "no rows"),
        ("# nothing else\n", "no line of numbers"),
        ("f,out\n1,2,3\n", "no headings: declare the number"),
        ("f,out\n1\n", "an empty cell"),
        ('f,out\n"1\n2",3\n', "found"),
        ("f,out\n1,2\n1".encode("utf-16")[:-1], "damaged encoding"),
        (b"f,out\n1,2\xe9\x01\n", "is no text"),
        ("1,5\n2,5\n", "decimal commas"),
        ("f;out\n1,234;5,678\n", "groups thousands"),
    ],
)
def test_what_is_no_table_is_reported(tmp_path: Path, text: str | bytes, part: str) -> None:
    assert part in faults(tmp_path, text)[0]


def test_declarations_are_held_against_the_kind_of_table(tmp_path: Path) -> None:
    declared = table(frequency=("f", "rpm"), phase=("p", "turns"), loudness=("l", "dB"))
    message = " ".join(faults(tmp_path, "f,p,l\n1,2,3\n", declared))
    for part in ("no 'level'", "'rpm'", "'turns'", "'loudness'", "Hz, kHz"):
        assert part in message


def test_damaged_parquet_and_odd_types_are_reported(tmp_path: Path) -> None:
    path = tmp_path / "t.parquet"
    pl.DataFrame({"f": [[1.0]], "out": [1.0]}).write_parquet(path)
    with pytest.raises(UserError, match="'f' of type"):
        read_table(path, table())
    path.write_bytes(path.read_bytes()[:-30])
    with pytest.raises(UserError, match="damaged Parquet"):
        read_table(path, table())
    pl.DataFrame({"f": [1.0, None], "out": [1.0, 2.0]}).write_parquet(path)
    with pytest.raises(UserError, match="row 2, column 'f'"):
        read_table(path, table())


@given(st.binary(max_size=300))
def test_any_bytes_give_a_fault_or_numbers(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    folder = tmp_path_factory.mktemp("bytes")
    try:
        ended = bool(read(folder, b"f,out\n1,2\n" + data)["level"])
    except UserError as error:
        ended = bool(error.faults)
    assert ended


def test_each_head_is_of_one_format_at_most() -> None:
    heads = [b"RIFF\x24\x00\x00\x00WAVEfmt ", b"fLaC\x00\x00\x00\x22", b"PAR1\x15\x04", b"f,out\n"]
    for head in heads:
        assert sum(reader.matches(head, "") for reader in readers()) == 1
