"""Three spreadsheets of invented reviewers, as people keep them."""

from __future__ import annotations

import csv
from pathlib import Path

from old_records import Percent, write_book

WIDE: list[list[object]] = [
    ["Amplifiers on the bench, 1998 to 2006"],
    [],
    ["", "", "", "", "", "", "THD", "", "Noise", "", ""],
    ["Maker", "Model", "Serial no", "Measured", "Type", "Condition",
     "1 W 8 Ω (%)", "10 W 8 Ω (%)", "Hum and noise (mV)", "±", "Notes"],
    ["Marrowgate", "Heron 40", "10423", "12 May 1998", "integrated", "restored",
     Percent(0.0008), Percent(0.0031), 0.42, 0.04, "quiet"],
    ["Marrowgate", "Heron 40", "10977", "14 May 1998", "integrated", "as found",
     Percent(0.0041), "1-3 %", 1.9, 0.2, ""],
    ["Marrowgate", "Stilt 9", "", "3 June 2001", "power amp", "restored",
     0.31, "", 0.25, "", "mono"],
    ["Corvane", "R-40", "", "2006-02-11", "reciever", "serviced",
     "0.05 *", 0.09, "-62 dBV", "", ""],
    ["Average", "", "", "", "", "", 0.2, "", 0.9, "", ""],
    ["* measured at 4 ohm"],
]  # fmt: skip
"""A wide workbook: a title, headings over several columns, a total, a footnote."""

COMMAS: list[list[str]] = [
    ["Nr.", "Date", "Make", "Model", "Technology", "State", "Power", "THD 1 W 8 ohm", "Damping"],
    ["1", "03/04/2011", "Marrowgate", "Heron 40", "valve", "found", "12 W @ 8 Ω, 1 % THD", "0,08",
     "7,5"],
    ["2", "11/04/2011", "Tern & Vale", "Dipper", "SS", "ok", "35,5 W @ 8 Ω, 1 % THD", "0,012",
     "> 200"],
    ["3", "05/06/2011", "Tern & Vale", "Dipper II", "SS", "ok", "1.250 W @ 8 Ω, 1 % THD", "1,234",
     "about 90"],
]  # fmt: skip
"""Semicolons between cells, decimal commas, days that may be months, conditions in cells."""

SHEETS: dict[str, list[list[object]]] = {
    "Read me": [["Old figures, kept since 1994"], ["Ask before you change anything"]],
    "Preamplifiers": [
        ["Brand", "Model", "Date", "Year", "Devices", "State", "Output impedance (Ω)",
         "Crosstalk 1k"],
        ["Aldermoor", "Wren", "1994-03-02", "1963", "valve", "as received", 420.0, "-58 dB"],
        ["Aldermoor", "Wren S", "1994-03-05", "sixties", "transistor", "as received", 95.0,
         "-71 dB"],
        ["Total", "", "", "", "", "", 515.0, ""],
    ],
    "Power amplifiers": [
        ["Brand", "Model", "Date", "Rated", "Devices", "State", "THD+N 1k 5W 8R (%)", "S/N"],
        ["Aldermoor", "Crane", "1995-10-20", "20 W", "valve", "serviced", 0.21, "88 dB"],
        ["Aldermoor", "Crane", "1999-01-09", "20 W", "valve", "restored", 0.14, "91 dB a)"],
        ["a) A-weighted, re the rated power"],
    ],
}  # fmt: skip
"""A workbook of several sheets with totals and footnotes."""


def wide_sheet(folder: Path) -> Path:
    """The wide workbook in a folder."""
    write_book(folder / "bench-book.xlsx", {"Amps": WIDE})
    return folder / "bench-book.xlsx"


def semicolon_sheet(folder: Path) -> Path:
    """The text file with decimal commas in a folder."""
    path = folder / "notes.csv"
    with path.open("w", newline="", encoding="cp1252", errors="replace") as stream:
        csv.writer(stream, delimiter=";").writerows(
            [[cell.replace("Ω", "ohm") for cell in row] for row in COMMAS]
        )
    return path


def several_sheets(folder: Path) -> Path:
    """The workbook of several sheets in a folder."""
    write_book(folder / "archive.xlsx", SHEETS)
    return folder / "archive.xlsx"
