"""Tables with text, counts, grouped thousands or a second sweep among their numbers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pydantic import TypeAdapter

from backbench.bench_day.table_entries import table_entries
from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.errors import UserError
from backbench.readers.file_formats import read_table
from backbench.readers.table_cells import is_number, number_of
from backbench.readers.table_sweeps import second_sweep

HZ = [20.0, 100.0, 500.0, 1000.0, 5000.0, 20_000.0]
DB = [-0.9, -0.04, 0.0, 0.0, -0.12, -1.6]
PAIRS = list(zip(HZ, DB, strict=True))
HEADED = "Frequency (Hz),Level (dB)\n"
BOTH = [("heron-40", "left"), ("heron-40", "right")]


def lines(form: str, start: int = 0) -> str:
    return "".join(form.format(f=f, d=d, n=n) + "\n" for n, (f, d) in enumerate(PAIRS, start))


def commas(form: str) -> str:
    return lines(form).replace(".", ",")


REPEATED = lines("{f:g},{d}").replace("500,", HEADED + "500,")
SHAPES = {
    "a column of text": "Frequency (Hz),Level (dB),Status\n" + lines("{f:g},{d},OK"),
    "a quoted remark": HEADED.strip() + ',Note\n' + lines('{f:g},{d},"in range, held"'),
    "day and time": "Day,Time," + HEADED + lines("2024-05-11,10:0{n}:00,{f:g},{d}"),
    "row numbers that nothing heads": HEADED.replace(",", "\t") + lines("{n}\t{f:g}\t{d}", 1),
    "row numbers from 0": HEADED.replace(",", "\t") + lines("{n}\t{f:g}\t{d}"),
    "thousands grouped before decimals": HEADED.replace(",", ";") + lines("{f:,.1f};{d}"),
    "thousands grouped by points": HEADED.replace(",", ";")
    + "".join(f"{f:,.1f};{d}\n".translate(str.maketrans(",.", ".,")) for f, d in PAIRS),
    "units in the cells alone": "Frequency,Level\n" + lines("{f:g} Hz,{d} dB"),
    "prefixes in the cells alone": "Frequency,Level\n" + "".join(
        f"{f / 1000:g} kHz,{d} dB\n" if f >= 1000 else f"{f:g} Hz,{d} dB\n" for f, d in PAIRS
    ),
    "bare prefixes": HEADED
    + "".join(f"{f / 1000:g}k,{d}\n" if f >= 1000 else f"{f:g},{d}\n" for f, d in PAIRS),
    "a row of totals that ends empty": HEADED + lines("{f:g},{d}") + "Average,,\n",
    "the heading again": HEADED + REPEATED,
    "filled up with zero bytes": HEADED + lines("{f:g},{d}") + 700 * "\0",
    "the separator named first": "sep=;\n" + HEADED.replace(",", ";") + commas("{f:g};{d}"),
    "falling frequencies": HEADED + "".join(f"{f:g},{d}\n" for f, d in reversed(PAIRS)),
    "a setting with a day above": "Day,2024-05-11\n\n" + HEADED + lines("{f:g},{d}"),
}  # fmt: skip


@pytest.mark.parametrize("name", SHAPES)
def test_is_proposed_and_read(tmp_path: Path, name: str) -> None:
    (tmp_path / "t.csv").write_text(SHAPES[name])
    (made,), unknown = table_entries(tmp_path, (), BOTH[:1])
    assert unknown == []
    assert made.ready, made.text
    table = TypeAdapter(Table).validate_python(made.table["stimulus"])
    data = read_table(tmp_path / "t.csv", table)
    order = np.argsort(data.columns["frequency"])
    assert_allclose(data.columns["frequency"][order], HZ)
    assert_allclose(data.columns["level"][order], DB)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("Sweep 1\n" + HEADED + lines("{f:g},{d}") + "\nSweep 2\n" + HEADED + lines("{f:g},{d}"),
         "line 12: a frequency that begins again; keep each in a file of its own"),
        (HEADED + lines('"{f:,.0f}",{d}'), "write it without signs between thousands"),
        ("Frequency (Hz);Level (dB)\n20;-0,9\n100;0,1\n500;0,2\n1.000;0,3\n5.000;-0,4\n",
         "line 5, column 'Frequency (Hz)': '1.000'; it may be a fraction or thousands"),
        ("Frequency (Hz),Impedance (ohm)\n" + lines("{f:g},6.2∠{d}"),
         "write the angle with its unit"),
        ("Frequency (Hz),THD (%)\n" + lines("{f:g},<0.01"),
         "line 2, column 'THD (%)': the bound '<0.01'; a bound is no value"),
        ("Frequency (Hz),A (dBV),B (dBV)\n" + lines("{f:g},{d},{d}"),
         "'A (dBV)' or 'B (dBV)'? Write an entry for each output"),
        ("1.5\n2.5\n3.5\n", "the time or the frequency by start and increment"),
        ("no numbers\nat all\n", "no rows of numbers"),
    ],
)  # fmt: skip
def test_is_refused_with_line_and_remedy(tmp_path: Path, text: str, reason: str) -> None:
    (tmp_path / "t.csv").write_text(text)
    suggestions, ((_, why),) = table_entries(tmp_path, (), BOTH[:1])
    assert suggestions == []
    assert reason in why


def test_columns_that_name_outputs_are_an_entry_each(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text(
        "Frequency (Hz),Left level (dBV),Right level (dBV)\n" + lines("{f:g},{d},{d}")
    )
    made, _ = table_entries(tmp_path, (), BOTH)
    assert [one.ready for one in made] == [True, True]
    named = {}
    for one in made:
        columns = one.table["stimulus"]["columns"]  # type: ignore[index]
        named[one.table["of"]["output"]] = columns["level"]["name"]  # type: ignore[index]
    assert named == {"left": "Left level (dBV)", "right": "Right level (dBV)"}


def test_harmonics_by_their_names_and_their_frequency(tmp_path: Path) -> None:
    rows = "".join(f"H{n},{997 * n},{-20 * n}\n" for n in range(1, 6))
    (tmp_path / "t.csv").write_text("Component,Frequency (Hz),Level (dBV)\n" + rows)
    (made,), _ = table_entries(tmp_path, (), BOTH[:1])
    assert made.ready
    assert made.table["stimulus"]["tone_hz"] == 997.0  # type: ignore[index]
    table = TypeAdapter(Table).validate_python(made.table["stimulus"])
    assert read_table(tmp_path / "t.csv", table).columns["order"].tolist() == [1, 2, 3, 4, 5]


def test_start_and_increment_as_columns_beside_the_headings(tmp_path: Path) -> None:
    rows = "".join(f"{n},{n / 100:.2e},\n" for n in range(60))
    (tmp_path / "t.csv").write_text("X,CH1,Start,Increment\nCount,Volt,-2.0e-04,5.0e-07\n" + rows)
    (made,), _ = table_entries(tmp_path, (), BOTH[:1])
    columns = made.table["stimulus"]["columns"]  # type: ignore[index]
    assert (columns["time"]["start"], columns["time"]["increment"]) == (-2e-4, 5e-7)
    assert columns["time"]["unit"].startswith("FILL IN")
    assert columns["voltage"]["name"] == "Volt"


def test_a_trace_that_begins_again_is_refused(tmp_path: Path) -> None:
    once = "".join(f"{n / 1e5:.5f},{n % 7}\n" for n in range(50))
    (tmp_path / "t.csv").write_text("t,v\n" + once + "\n" + once)
    columns = {key: TableColumn(name=name, unit=unit) for key, name, unit in
               (("time", "t", "s"), ("voltage", "v", "V"))}  # fmt: skip
    with pytest.raises(UserError) as caught:
        read_table(tmp_path / "t.csv", Table(table="trace", columns=columns, tone_hz=1000.0))
    assert "line 53: found a time that begins again" in str(caught.value.faults[0])


def test_one_row_out_of_place_is_no_second_sweep() -> None:
    rising = np.arange(50.0)
    odd = rising.copy()
    odd[30] = 0.0
    for values in (rising, rising[::-1], odd, np.full(50, 3.0), np.full(50, np.nan)):
        assert second_sweep(values, logarithmic=False) is None
    spot = np.concatenate([[1000.0], np.geomspace(20, 20e3, 31)])
    assert second_sweep(spot, logarithmic=True) is None
    both = np.concatenate([rising, rising + 0.5])
    assert second_sweep(both, logarithmic=False) == 50
    assert second_sweep(-both, logarithmic=False) == 50
    ranges = np.concatenate([np.geomspace(20, 200, 11), np.geomspace(200, 20e3, 21)[1:]])
    assert second_sweep(ranges, logarithmic=True) is None


@pytest.mark.parametrize(
    ("cell", "decimal", "value"),
    [
        ("1,234.5", ".", 1234.5),
        ("1.234,5", ",", 1234.5),
        ("1 234,5", ",", 1234.5),
        ("1k", ".", 1000.0),
        ("3.3 k", ".", 3300.0),
        ("1,5D+02", ",", 150.0),
        ("1,234", ".", None),
        ("12 monkeys", ".", None),
    ],
)
def test_numbers_of_cells(cell: str, decimal: str, value: float | None) -> None:
    read = number_of(cell, decimal)  # type: ignore[arg-type]
    assert read == (None if value is None else (value, ""))
    assert is_number(cell, decimal) == (value is not None)  # type: ignore[arg-type]
