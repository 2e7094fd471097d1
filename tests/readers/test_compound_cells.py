"""Cells with more than one number: complex ones, values with their uncertainty, and bounds."""

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
from backbench.readers.compound_cells import complex_form, value_and_spread
from backbench.readers.declaration import TableData
from backbench.readers.file_formats import read_table

HZ = [20.0, 100.0, 500.0, 1000.0, 5000.0, 20_000.0]
OHMS = [6.31 + 0.25j, 6.4 - 1.52j, 5.98 - 0.12j, 6.02 + 0.5j, 7.75 + 3.01j, 11.2 + 9.4j]
ROWS = list(zip(HZ, OHMS, strict=True))
DB = [-0.9, -0.04, 0.0, 0.01, -0.12, -1.6]


def rows(form: str, separator: str = ",") -> str:
    """Lines of frequency and impedance; of the latter r, i, i without sign, its sign, m and a."""
    cells = [
        (f, form.format(r=z.real, i=z.imag, u=abs(z.imag), s="+-"[z.imag < 0], m=abs(z),
                        a=np.degrees(np.angle(z)), p=np.angle(z)))
        for f, z in ROWS
    ]  # fmt: skip
    return "".join(f"{f:g}{separator}{cell}\n" for f, cell in cells)


HEADED = "Frequency (Hz),Impedance (ohm)\n"
COMPLEX = {
    "j behind": HEADED + rows("{r}{i:+}j"),
    "i behind, spaces": HEADED + rows("{r} {s} {u}i"),
    "j before": HEADED + rows("{r}{s}j{u}"),
    "times j": HEADED + rows("{r}{i:+}*j"),
    "in brackets": HEADED + rows("({r}{i:+}j)"),
    "a pair in brackets": HEADED.replace(",", ";") + rows("({r},{i})", ";"),
    "a quoted pair": HEADED + rows('"({r}, {i})"'),
    "powers of ten": HEADED + rows("{r:.6e}{i:+.6e}j"),
    "a true minus": HEADED + rows("{r}{i:+}j").replace("-", "−"),
    "decimal commas": HEADED.replace(",", ";") + rows("{r}{i:+}j", ";").replace(".", ","),
    "tabs": HEADED.replace(",", "\t") + rows("{r}{i:+}j", "\t"),
    "degrees": HEADED + rows("{m:.9f}∠{a:.9f}°"),
    "degrees in words": HEADED + rows("{m:.9f} ∠ {a:.9f} deg"),
    "radians": HEADED + rows("{m:.9f}∠{p:.9f} rad"),
    "a column behind": HEADED.replace("\n", ",Range\n")
    + "".join(f"{f:g},{z.real}{z.imag:+}j,20\n" for f, z in ROWS),
}  # fmt: skip


def proposed(folder: Path, text: str) -> TableData:
    (folder / "t.csv").write_text(text, encoding="utf-8")
    (made,), unknown = table_entries(folder, (), [("heron-40", "left")])
    assert unknown == []
    assert made.ready, made.text
    table = TypeAdapter(Table).validate_python(made.table["stimulus"])
    return read_table(folder / "t.csv", table)


@pytest.mark.parametrize("name", COMPLEX)
def test_complex_cells_are_proposed_and_read(tmp_path: Path, name: str) -> None:
    data = proposed(tmp_path, COMPLEX[name])
    assert data.remark is None
    assert_allclose(data.columns["frequency"], HZ)
    assert_allclose(data.columns["magnitude"], np.abs(OHMS), rtol=1e-7)
    assert_allclose(data.columns["phase"], np.degrees(np.angle(OHMS)), atol=1e-6)


def test_parts_of_complex_cells_have_the_uncertainty_of_their_last_digit(tmp_path: Path) -> None:
    data = proposed(tmp_path, HEADED + "".join(f"{f:g},{6.25:.2f}-0.10j\n" for f in HZ))
    u = 0.01 / np.sqrt(12)
    assert_allclose(data.uncertainty["magnitude"], u)
    assert_allclose(data.uncertainty["phase"], np.degrees(u / abs(6.25 - 0.1j)))


def test_parts_without_a_heading_are_declared_by_number(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text(rows("{r}{i:+}j"))
    _, ((_, why),) = table_entries(tmp_path, (), [("heron-40", "left")])
    assert "column 2, whose real part is column 3 and imaginary part column 4" in why
    numbers = {"frequency": (1, "Hz"), "real": (3, "ohm"), "imaginary": (4, "ohm")}
    columns = {key: TableColumn(number=n, unit=unit) for key, (n, unit) in numbers.items()}
    data = read_table(tmp_path / "t.csv", Table(table="impedance", columns=columns))
    assert_allclose(data.columns["magnitude"], np.abs(OHMS))


def test_the_whole_of_a_complex_column_is_refused_with_its_parts(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text(COMPLEX["j behind"])
    units = {"frequency": (1, "Hz"), "magnitude": (2, "ohm")}
    columns = {key: TableColumn(number=n, unit=unit) for key, (n, unit) in units.items()}
    with pytest.raises(UserError) as caught:
        read_table(tmp_path / "t.csv", Table(table="impedance", columns=columns))
    assert "line 2" in str(caught.value.faults[0])
    assert "'real' or 'imaginary' behind it" in str(caught.value.faults[0])


def test_one_cell_in_another_form_is_left_out_and_named(tmp_path: Path) -> None:
    lines = "".join(f"{100 + n},{6 + n / 10}-0.5j\n" for n in range(20))
    data = proposed(tmp_path, HEADED + lines + "500,6.1\n")
    assert len(data.columns["magnitude"]) == 20
    assert "line 22" in str(data.remark)


@pytest.mark.parametrize(
    ("cell", "decimal", "form"),
    [
        ("1.02∠-7.1", ".", None),
        ("(0,98,-0,12)", ",", None),
        ("(0,98;-0,12)", ",", "rectangular"),
        ("2-3", ".", None),
        ("2024-05-11", ".", None),
        ("1e-3", ".", None),
        ("3i", ".", None),
    ],
)
def test_what_is_no_complex_number(cell: str, decimal: str, form: str | None) -> None:
    assert complex_form(cell, decimal) == form  # type: ignore[arg-type]


SPREADS = {
    "spaces": "{d:.2f} ± 0.05",
    "no spaces": "{d:.2f}±0.05",
    "plus and minus": "{d:.2f} +/- 0.05",
    "a unit of both": "{d:.2f} ± 0.05 dB",
    "a unit each": "{d:.2f} dB ± 0.05 dB",
    "in brackets": "({d:.2f} ± 0.05) dB",
}


def with_spread(form: str, heading: str = "Level (dB)") -> str:
    lines = "".join(f"{f:g},{form.format(d=d)}\n" for f, d in zip(HZ, DB, strict=True))
    return f"Frequency (Hz),{heading}\n{lines}"


@pytest.mark.parametrize("name", SPREADS)
def test_values_with_their_own_uncertainty(tmp_path: Path, name: str) -> None:
    heading = "Level" if "unit" in name else "Level (dB)"
    data = proposed(tmp_path, with_spread(SPREADS[name], heading))
    assert_allclose(data.columns["level"], DB)
    assert_allclose(data.uncertainty["level"], np.hypot(0.05, 0.01 / np.sqrt(12)))


def test_a_limit_that_the_manifest_states_comes_before_the_cells(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text(with_spread(SPREADS["spaces"]), encoding="utf-8")
    columns = {
        "frequency": TableColumn(number=1, unit="Hz"),
        "level": TableColumn(number=2, unit="dB", decibels=0.3),
    }
    data = read_table(tmp_path / "t.csv", Table(table="response", columns=columns))
    assert_allclose(data.uncertainty["level"], np.hypot(0.3 / np.sqrt(3), 0.01 / np.sqrt(12)))


@pytest.mark.parametrize(
    ("cell", "parted"),
    [
        ("0.9 V ± 2 %", ("0.9 V", "2 %")),
        ("1.2 ± x", None),
        ("± 0.5", None),
        ("1 ± 2 ± 3", None),
        ("0.9", None),
    ],
)
def test_sides_of_a_cell(cell: str, parted: tuple[str, str] | None) -> None:
    assert value_and_spread(cell) == parted


@pytest.mark.parametrize("cell", ["0.9 ± 200 %", "0.9 ± 2 V", "<0.01", "≤ 3", ">80", "> 80 dB"])
def test_what_is_no_plain_value_is_left_out_and_named(tmp_path: Path, cell: str) -> None:
    lines = "".join(f"{100 + n},{n / 10}\n" for n in range(20))
    for before, line in (("", 22), (f"90,{cell}\n", 2)):
        text = f"Frequency (Hz),Level (dB)\n{before}{lines}" + ("" if before else f"500,{cell}\n")
        data = proposed(tmp_path, text)
        assert data.columns["level"].tolist() == [n / 10 for n in range(20)]
        assert f"line {line}, column 'Level (dB)': " in str(data.remark)
        assert repr(cell) in str(data.remark)
