"""Fifty shapes in which instruments and people save the same table of a response."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pydantic import TypeAdapter

from backbench.bench_day.table_entries import table_entries
from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.errors import UserError
from backbench.readers.declaration import TableData
from backbench.readers.file_formats import read_table

HZ = [20.0, 31.5, 100.0, 1000.0, 3150.0, 20_000.0]
DB = [-0.25, -0.11, 0.0, 0.01, -0.02, -1.5]
STIMULUS = TypeAdapter(Table)
Write = Callable[[float], str]


def point(value: float) -> str:
    return f"{value:.2f}"


def comma(value: float) -> str:
    return point(value).replace(".", ",")


def power(value: float) -> str:
    return f"{value:.6E}"


def true_minus(value: float) -> str:
    return point(value).replace("-", "−")


class Shape(NamedTuple):
    """A way to save the table. hz: heading or number of the frequencies; likewise db."""

    text: str | bytes
    hz: str | int = "Frequency"
    db: str | int = "Level"


def rows(separator: str, write: Write = point, before: str = "", after: str = "") -> str:
    lines = (
        f"{before}{write(f)}{separator}{write(d)}{after}\n" for f, d in zip(HZ, DB, strict=True)
    )
    return "".join(lines)


HEADED = "Frequency (Hz),Level (dB)\n"
PREAMBLE = "Instrument,bench analyser\nNumber of points,6\nDate,2024-03-04\n"
FAR = "\n".join(f"Setting {n}\t{n}" for n in range(40)) + "\n"
INDEXED = "".join(
    f"{n},{point(f)},{point(d)}\n" for n, (f, d) in enumerate(zip(HZ, DB, strict=True))
)
SHAPES = {
    "comma": Shape(HEADED + rows(",")),
    "tab": Shape("Frequency (Hz)\tLevel (dB)\n" + rows("\t")),
    "semicolon": Shape("Frequency (Hz);Level (dB)\n" + rows(";")),
    "bar": Shape("Frequency (Hz)|Level (dB)\n" + rows("|")),
    "comma and space": Shape("Frequency (Hz), Level (dB)\n" + rows(", ")),
    "spaces": Shape("Frequency (Hz)  Level (dB)\n" + rows("   ")),
    "one space": Shape("Frequency/Hz Level/dB\n" + rows(" ")),
    "aligned": Shape("  Frequency (Hz)     Level (dB)\n" + rows("    ", before="  ")),
    "semicolon, decimal commas": Shape("Frequency (Hz);Level (dB)\n" + rows(";", comma)),
    "tab, decimal commas": Shape("Frequency (Hz)\tLevel (dB)\n" + rows("\t", comma)),
    "spaces, decimal commas": Shape("Frequency/Hz Level/dB\n" + rows("  ", comma)),
    "powers of ten": Shape(HEADED + rows(",", power)),
    "powers of ten with D": Shape(HEADED + rows(",", lambda v: power(v).replace("E", "D"))),
    "plus signs": Shape(HEADED + rows(",", lambda v: f"{v:+.2f}")),
    "true minus signs": Shape(HEADED + rows(",", true_minus)),
    "line ends CR LF": Shape((HEADED + rows(",")).replace("\n", "\r\n").encode()),
    "line ends CR": Shape((HEADED + rows(",")).replace("\n", "\r").encode()),
    "no end of the last line": Shape((HEADED + rows(",")).rstrip()),
    "blank lines": Shape("\n\n" + HEADED + "\n" + rows(",").replace("\n", "\n\n")),
    "UTF-8 with a mark": Shape((HEADED + rows(",")).encode("utf-8-sig")),
    "UTF-16": Shape((HEADED + rows(",")).encode("utf-16")),
    "UTF-16, other order": Shape(b"\xfe\xff" + (HEADED + rows(",")).encode("utf-16-be")),
    "Latin-1": Shape(("Temperature 20 °C\n" + HEADED + rows(",")).encode("latin-1")),
    "quoted cells": Shape('"Frequency (Hz)","Level (dB)"\n' + rows('","', before='"', after='"')),
    "quoted headings": Shape('"Frequency (Hz)","Level (dB)"\n' + rows(",")),
    "comments with #": Shape("# one\n# two\n" + HEADED + rows(",")),
    "comments with ;": Shape("; one\n; two\n" + HEADED + rows(",")),
    "comments with *": Shape("* one\n* two\nFrequency (Hz)\tLevel (dB)\n" + rows("\t")),
    "comments with !": Shape("! one\nFrequency/Hz Level/dB\n" + rows(" ")),
    "comments with //": Shape("// one\n" + HEADED + rows(",")),
    "comments with %": Shape("% one\n" + HEADED + rows(",")),
    "headings in a comment": Shape("# Frequency (Hz),Level (dB)\n" + rows(",")),
    "headings in a comment, spaces": Shape("% Frequency (Hz)  Level (dB)\n" + rows("  ")),
    "comments within": Shape(HEADED + rows(",").replace("\n", "\n# range 2\n", 2)),
    "preamble": Shape(PREAMBLE + "\n" + HEADED + rows(",")),
    "preamble in quotes": Shape('"Number of points",6\n"Range","2 V"\n' + HEADED + rows(",")),
    "long preamble": Shape(FAR + "Frequency (Hz)\tLevel (dB)\n" + rows("\t")),
    "preamble, no headings": Shape(PREAMBLE + rows(","), 1, 2),
    "no headings": Shape(rows(","), 1, 2),
    "no headings, spaces": Shape(rows("  ", before=" "), 1, 2),
    "no headings, decimal commas": Shape(rows(";", comma), 1, 2),
    "units row": Shape("Frequency,Level\nHz,dB\n" + rows(",")),
    "units row in brackets": Shape("Frequency\tLevel\n(Hz)\t(dB)\n" + rows("\t")),
    "units in headings": Shape("Frequency (Hz),Level (dB)\n" + rows(",")),
    "units in square brackets": Shape("Frequency [Hz];Level [dB]\n" + rows(";")),
    "units behind a slash": Shape("Frequency/Hz,Level/dB\n" + rows(",")),
    "units by number": Shape("f / Hz\tL / dB\n" + rows("\t"), 1, 2),
    "whole heading with its unit": Shape(
        "Freq (Hz),Lvl (dB)\n" + rows(","), "Freq (Hz)", "lvl (dB)"),
    "trailing separators": Shape("Frequency (Hz),Level (dB),\n" + rows(",", after=",")),
    "trailing separators, no heading there": Shape(HEADED + rows(",", after=",,")),
    "empty first cells": Shape(",Frequency (Hz),Level (dB)\n" + rows(",", before=",")),
    "empty first cells, semicolons": Shape(
        ";Frequency (Hz);Level (dB)\n" + rows(";", comma, before=";")),
    "row numbers": Shape("No,Frequency (Hz),Level (dB)\n" + INDEXED),
    "row numbers without headings": Shape(INDEXED, 2, 3),
    "units in cells": Shape(HEADED + "".join(
        f"{f:g} Hz,{d:.2f} dB\n" for f, d in zip(HZ, DB, strict=True))),
    "prefixes in cells": Shape(HEADED + "".join(
        f"{f / 1000:g} kHz,{d:.2f} dB\n" for f, d in zip(HZ, DB, strict=True))),
    "a footer": Shape(HEADED + rows(",") + "\n# end\n"),
    "upper case headings": Shape("FREQUENCY,LEVEL\n" + rows(",")),
}  # fmt: skip


def table_of(shape: Shape) -> Table:
    def column(place: str | int, unit: str) -> TableColumn:
        given = {"name": place} if isinstance(place, str) else {"number": place}
        return TableColumn(unit=unit, **given)

    columns = {"frequency": column(shape.hz, "Hz"), "level": column(shape.db, "dB")}
    return Table(table="response", columns=columns)


@pytest.mark.parametrize("name", SHAPES)
def test_every_shape_gives_the_same_table(tmp_path: Path, name: str) -> None:
    shape = SHAPES[name]
    path = tmp_path / "t.csv"
    path.write_bytes(shape.text.encode() if isinstance(shape.text, str) else shape.text)
    data = read_table(path, table_of(shape))
    assert_allclose(data.columns["frequency"], HZ, rtol=1e-12)
    assert_allclose(data.columns["level"], DB, atol=1e-12)
    assert data.remark is None


def test_proposals_need_no_correction_in_at_least_forty_five_shapes(tmp_path: Path) -> None:
    """What isn't in the file, as a unit or what a column is, is left to the reviewer."""
    for n, shape in enumerate(SHAPES.values()):
        data = shape.text.encode() if isinstance(shape.text, str) else shape.text
        (tmp_path / f"{n}.csv").write_bytes(data)
    suggestions, unknown = table_entries(tmp_path, (), [("heron-40", "left")])
    ready = [one for one in suggestions if one.ready]
    for one in ready:
        stimulus = STIMULUS.validate_python(one.table["stimulus"])
        data = read_table(tmp_path / one.file, stimulus)
        assert_allclose(data.columns["frequency"], HZ, rtol=1e-12)
        assert_allclose(data.columns["level"], DB, atol=1e-12)
    assert len(SHAPES) >= 50
    print(f"{len(ready)} of {len(SHAPES)} proposals need no correction")
    assert len(ready) >= 45
    assert len(suggestions) + len(unknown) == len(SHAPES)


def read(folder: Path, text: str, table: Table) -> TableData:
    path = folder / "t.csv"
    path.write_text(text, encoding="utf-8")
    return read_table(path, table)


def columns(kind: str, **given: TableColumn) -> Table:
    return Table(table=kind, columns=given)  # type: ignore[arg-type]


RESPONSE = columns(
    "response", frequency=TableColumn(number=1, unit="Hz"), level=TableColumn(number=2, unit="dB")
)


@pytest.mark.parametrize(
    ("cell", "reason"),
    [
        ("9.9e37", "'9.9e37'"),
        ("-9.91E+37", "'-9.91E+37'"),
        ("OL", "'OL'"),
        ("----", "'----'"),
        ("", "an empty cell"),
        ("nan", "'nan'"),
        ("inf", "'inf'"),
        ("-754.0", "'-754.0'"),
        ("overflow", "'overflow'"),
    ],
)
def test_a_row_without_a_value_is_left_out_and_named(
    tmp_path: Path, cell: str, reason: str
) -> None:
    lines = [f"{100 + n},{n / 10:.1f}" for n in range(20)]
    data = read(tmp_path, "\n".join([*lines, f"900,{cell}", "1000,0.0"]) + "\n", RESPONSE)
    assert data.columns["frequency"].tolist() == [*range(100, 120), 1000]
    assert data.remark == f"1 row of the table left out (line 21, column '2': {reason})"


def test_a_bad_row_and_a_frequency_twice_are_left_out_and_named(tmp_path: Path) -> None:
    lines = [f"{100 + n},0.5" for n in range(40)]
    data = read(tmp_path, "\n".join([*lines, "1,2,3", "110,7", "0,1", "end"]), RESPONSE)
    assert data.columns["level"].tolist() == [0.5] * 40
    for part in ("line 41: 3 cells instead of 2", "line 42, column 'frequency': a frequency that",
                 "line 43, column 'frequency': no frequency above 0", "line 44"):  # fmt: skip
        assert part in str(data.remark)


def test_a_table_that_lacks_a_tenth_of_its_values_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="2 rows without a value"):
        read(tmp_path, "1,OL\n2,OL\n" + "".join(f"{n},0\n" for n in range(3, 12)), RESPONSE)


@pytest.mark.parametrize(
    ("cell", "expected"),
    [("x", "a finite number"), ("0", "a number above 0"), ("1e9", "a number that can be measured")],
)
def test_a_value_that_cannot_be_used_is_refused_with_what_could(
    tmp_path: Path, cell: str, expected: str
) -> None:
    table = columns(
        "response",
        frequency=TableColumn(number=1, unit="Hz"),
        level=TableColumn(number=2, unit="V"),
    )
    with pytest.raises(UserError) as caught:
        read(tmp_path, f"Hz,V\n100,1\n200,{cell}\n300,1\n400,1\n", table)
    assert [fault.expected for fault in caught.value.faults] == [expected]


def test_real_and_imaginary_parts_are_magnitude_and_phase(tmp_path: Path) -> None:
    table = columns(
        "impedance",
        frequency=TableColumn(name="f", unit="Hz"),
        real=TableColumn(name="re", unit="ohm"),
        imaginary=TableColumn(name="im", unit="ohm"),
    )
    data = read(tmp_path, "f,re,im\n10,3,4\n20,0,-2\n", table)
    assert_allclose(data.columns["magnitude"], [5, 2])
    assert_allclose(data.columns["phase"], [math.degrees(math.atan2(4, 3)), -90])


def test_radians_factor_and_offset(tmp_path: Path) -> None:
    table = columns(
        "response",
        frequency=TableColumn(name="f", unit="kHz"),
        level=TableColumn(name="v", unit="mV", factor=10, offset=5),
        phase=TableColumn(name="p", unit="rad"),
    )
    data = read(tmp_path, f"f,v,p\n1,20,{math.pi}\n2,30,0\n", table)
    assert_allclose(data.columns["frequency"], [1000, 2000])
    assert_allclose(data.columns["level"], [0.205, 0.305])
    assert_allclose(data.columns["phase"], [180, 0])


def test_a_unit_that_the_heading_contradicts_is_refused(tmp_path: Path) -> None:
    table = columns(
        "response",
        frequency=TableColumn(name="f", unit="Hz"),
        level=TableColumn(name="level", unit="dB"),
    )
    with pytest.raises(UserError) as caught:
        read(tmp_path, "f (kHz),level (dB)\n1,0\n2,0\n", table)
    assert "the unit 'kHz' in the heading" in str(caught.value.faults[0])


@pytest.mark.parametrize(
    ("stated", "half_width"),
    [
        ({}, 0.0),
        ({"percent_of_reading": 0.5}, 0.01),
        ({"percent_of_range": 0.1, "range": 20.0}, 0.02),
        ({"last_digits": 3}, 0.03),
        ({"decibels": 0.1}, 2 * 0.1 / (20 / math.log(10))),
    ],
)
def test_the_instruments_own_uncertainty(
    tmp_path: Path, stated: dict[str, float], half_width: float
) -> None:
    """A limit is divided by the root of 3, half a digit too (GUM 4.3.7)."""
    table = columns(
        "response",
        frequency=TableColumn(name="f", unit="Hz"),
        level=TableColumn(name="v", unit="V", **stated),  # type: ignore[arg-type]
    )
    data = read(tmp_path, "f,v\n10,2.00\n20,2.01\n", table)
    expected = math.hypot(half_width, 0.005) / math.sqrt(3)
    assert data.uncertainty["level"][0] == pytest.approx(expected, rel=1e-9)


def test_digits_of_powers_of_ten_and_of_whole_numbers(tmp_path: Path) -> None:
    data = read(tmp_path, "10,1.25E-2\n20,7\n30,0.123456789012345\n", RESPONSE)
    place = [1e-4, 1.0, 0.0]
    assert_allclose(data.uncertainty["level"], [p / math.sqrt(12) for p in place], rtol=1e-12)


VOLTS = [0.0131 * n - 0.5 for n in range(40)]
STEPPED = {
    "settings in quotes": '"Number of points",40\n"Sample Interval (s)",4.0E-06\n"Start",-0.001\n'
    "Voltage (V)\n",
    "a sample rate": "# Sample rate: 250 kHz\n# t0: -1 ms\nVoltage (V)\n",
    "samples a second": "Sample Rate,250,kSa/s\nStart,-1,ms\nVoltage (V)\n",
    "no heading": "XINCR 4.0E-06 s\nXZERO -1.0E-03 s\n",
    "tabs": "dt (us)\t4\nx0 (us)\t-1000\nvolts (V)\n",
    "equals signs": "Time increment = 4 us\nTime start = -1000 us\nVoltage (V)\n",
}


@pytest.mark.parametrize("name", STEPPED)
def test_one_column_with_start_and_increment_in_the_preamble(tmp_path: Path, name: str) -> None:
    path = tmp_path / "t.csv"
    path.write_text(STEPPED[name] + "".join(f"{v:.4f}\n" for v in VOLTS))
    (suggestion,), _ = table_entries(tmp_path, ())
    stimulus = dict(suggestion.table["stimulus"])  # type: ignore[call-overload]
    assert ("FILL IN" in str(stimulus["columns"])) == (name == "no heading")
    assert not suggestion.ready
    stimulus = {key: value for key, value in stimulus.items() if "FILL IN" not in str(value)
                or key == "columns"} | {"tone_hz": 1000.0}  # fmt: skip
    stimulus["columns"]["voltage"]["unit"] = "V"
    data = read_table(path, STIMULUS.validate_python(stimulus))
    assert_allclose(data.columns["voltage"], VOLTS, atol=1e-4)
    assert_allclose(data.columns["time"], -1e-3 + 4e-6 * np.arange(40), rtol=1e-9, atol=1e-12)


def test_the_generators_column_is_told_from_the_outputs(tmp_path: Path) -> None:
    rows = "".join(f"{n},{n / 10:.1f},{n / 100:.2f},x\n" for n in range(20))
    (tmp_path / "t.csv").write_text("Time (s),Output (V),Input (V)\n" + rows.replace(",x", ""))
    (tmp_path / "u.csv").write_text("Time (s),CH1 (V),memo\n" + rows.replace(",x", ""))
    (tmp_path / "v.csv").write_text("Time (s),Input (V)\n" + "0,1\n1,2\n")
    entries = [one.table["stimulus"]["columns"] for one in table_entries(tmp_path, ())[0]]  # type: ignore[index]
    assert entries[0]["voltage"]["name"] == "Output (V)"
    assert entries[0]["generator"] == {"name": "Input (V)", "unit": "V"}
    assert set(entries[1]) == {"time", "voltage"}
    assert entries[2]["voltage"]["name"] == "Input (V)"


def test_a_row_left_out_of_a_counted_time_leaves_its_place(tmp_path: Path) -> None:
    table = columns(
        "trace",
        time=TableColumn(start=-1, increment=2, unit="ms"),
        voltage=TableColumn(number=2, unit="V"),
    )
    lines = [f"{n},{n}" for n in range(30)]
    lines[4], lines[9] = "4,OL", "9,1,2"
    data = read(tmp_path, "\n".join(lines), table)
    kept = [n for n in range(30) if n not in (4, 9)]
    assert_allclose(data.columns["time"], [2e-3 * n - 1e-3 for n in kept], atol=1e-12)
    assert_allclose(data.columns["voltage"], kept)


def test_settings_beside_the_first_rows_take_none_of_them(tmp_path: Path) -> None:
    rows = [f",,,{n},{n / 10}" for n in range(30)]
    rows[0], rows[1] = "Points,30,,0,0.0", "Interval,1,,1,0.1"
    table = columns(
        "trace", time=TableColumn(number=4, unit="s"), voltage=TableColumn(number=5, unit="V")
    )
    data = read(tmp_path, "\n".join(rows), table)
    assert_allclose(data.columns["voltage"], [n / 10 for n in range(30)])
    assert data.remark is None


def test_only_times_and_frequencies_are_counted(tmp_path: Path) -> None:
    table = columns(
        "response",
        frequency=TableColumn(number=1, unit="Hz"),
        level=TableColumn(start=0, increment=1, unit="dB"),
    )
    with pytest.raises(UserError) as caught:
        read(tmp_path, "1,0\n2,0\n", table)
    assert "a start and an increment" in str(caught.value.faults[0])
    with pytest.raises(ValueError, match="belong together"):
        TableColumn(start=1, unit="s")


def test_zeros_that_were_not_written_make_no_value_coarse(tmp_path: Path) -> None:
    values = [f"{2 - n / 7e3:.6g}" for n in range(40)] + ["2"] * 40
    lines = [f"{100 + n},{value}" for n, value in enumerate(values)]
    data = read(tmp_path, "\n".join(lines) + "\n", RESPONSE)
    assert_allclose(data.uncertainty["level"], 1e-5 / math.sqrt(12), rtol=1e-9)


@pytest.mark.parametrize(
    ("kind", "unit", "cell"),
    [
        ("response", "dB", "-306.3"),
        ("response", "dBV", "-250"),
        ("response", "V", "0"),
        ("response", "V", "-0.1"),
        ("response", "V", "4.4e-16"),
        ("response", "V", "1e9"),
        ("spectrum", "dB", "-306.3"),
        ("spectrum", "V", "1e9"),
        ("harmonics", "dB", "-306.3"),
    ],
)
def test_what_no_instrument_can_mean_is_left_out_and_named(
    tmp_path: Path, kind: str, unit: str, cell: str
) -> None:
    table = columns(
        kind, frequency=TableColumn(number=1, unit="Hz"), level=TableColumn(number=2, unit=unit)
    )
    lines = [f"{100 + n},{1 + n / 10:.1f}" for n in range(20)]
    data = read(tmp_path, "\n".join([*lines, f"900,{cell}", "1000,1.0"]) + "\n", table)
    assert len(data.columns["level"]) == 21
    assert f"line 21, column '2': '{cell}'" in str(data.remark)


@pytest.mark.parametrize(
    ("kind", "named", "fault"),
    [
        ("distortion", {"thd": "%"}, "none of frequency, power, level, generator"),
        ("distortion", {"power": "W"}, "none of thd, thd_n"),
        ("harmonics", {"level": "dB"}, "none of order, frequency"),
        ("harmonics", {"order": "1"}, "no 'level'"),
        ("spectrum", {"level": "dB"}, "no 'frequency'"),
    ],
)
def test_columns_that_a_table_lacks_are_named(
    tmp_path: Path, kind: str, named: dict[str, str], fault: str
) -> None:
    given = {key: TableColumn(name=key, unit=unit) for key, unit in named.items()}
    given["x"] = TableColumn(name="x", unit="V")
    with pytest.raises(UserError) as caught:
        read(tmp_path, "a,b\n1,0\n2,0\n", columns(kind, **given))
    assert any(fault in str(one) for one in caught.value.faults)
