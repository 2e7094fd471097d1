"""A messy spreadsheet of an invented reviewer's old figures, with what each cell means."""

from __future__ import annotations

import datetime as dt
import random
import zipfile
from dataclasses import dataclass, field
from pathlib import Path
from xml.sax.saxutils import escape

HEADINGS = [
    "No.", "Date", "Maker", "Model", "Type", "Valve/SS", "Year", "Condition",
    "Rated", "THD 1 W", "Hum+noise", "Power 1 %", "Damping", "Sep. 1k",
]  # fmt: skip
MAP = """\
# How the old notebook's columns are to be read.
dates = ["%d.%m.%Y", "%d/%m/%y"]

[review]
key = { column = "No." }
date = { column = "Date" }
bench = { always = "notebook" }
mains_hz = { always = 50 }

[unit]
maker = { column = "Maker" }
model = { column = "Model" }
kind = { column = "Type", words = { amp = "integrated amplifier", power = "power amplifier" } }
technology = { column = "Valve/SS", words = { valve = "tube", SS = "solid state" } }
made = { column = "Year" }
state = { column = "Condition", words = { ok = "serviced", found = "as received" } }
rated_power_w = { column = "Rated" }

[[reading]]
column = "THD 1 W"
metric = "thd"
unit = "%"
output = "both"
at = { frequency_hz = 1000, power_w = 1, load_ohm = 8 }

[[reading]]
column = "Hum+noise"
metric = "noise"
unit = "mV"
output = "both"

[[reading]]
column = "Power 1 %"
metric = "power_at_limit"
unit = "W"
output = "both"
at = { frequency_hz = 1000, load_ohm = 8, limit_percent = 1 }

[[reading]]
column = "Damping"
metric = "damping_factor"
output = "both"
at = { frequency_hz = 1000, load_ohm = 8 }

[[reading]]
column = "Sep. 1k"
metric = "separation"
unit = "dB"
output = "both"
at = { frequency_hz = 1000 }
negate = true
"""
METRICS = {
    "THD 1 W": "thd", "Hum+noise": "noise", "Power 1 %": "power_at_limit",
    "Damping": "damping_factor", "Sep. 1k": "separation",
}  # fmt: skip


@dataclass
class Messy:
    """rows: cells as text or numbers. right: (review, metric) to value and bound. listed: places
    of cells that can't be read. lost: rows whose facts can't be read."""

    rows: list[list[object]] = field(default_factory=list)
    right: dict[tuple[str, str], tuple[float, str | None]] = field(default_factory=dict)
    listed: set[str] = field(default_factory=set)
    lost: set[str] = field(default_factory=set)


def messy(count: int = 300, seed: int = 5) -> Messy:
    """Rows as years of typing leave them; every one with its meaning."""
    rng, made = random.Random(seed), Messy()
    for n in range(1, count + 1):
        key, row = f"r{n:03}", n + 1
        facts, good = _facts(rng, key)
        cells: list[object] = list(facts)
        for letter, column in zip("JKLMN", METRICS, strict=True):
            text, value, bound = _figure(rng, column)
            cells.append(text)
            if not good or (value is None and text in ("", "-", "n/a", "?")):
                continue
            if value is None:
                made.listed.add(f"{letter}{row}")
            else:
                made.right[key, METRICS[column]] = (value, bound)
        if not good or not any(found == key for found, _ in made.right):
            made.lost.add(key)
        made.rows.append(cells)
    return made


def _facts(rng: random.Random, key: str) -> tuple[list[object], bool]:
    day = dt.date(2008, 1, 1) + dt.timedelta(days=rng.randrange(4000))
    date = rng.choice(
        [day.isoformat(), f"{day:%d.%m.%Y}", f"{day:%d/%m/%y}", f" {day.isoformat()} "]
    )
    kind = rng.choice(["amp", "power", "Integrated Amplifier", "receiver"])
    technology = rng.choice(["valve", "SS", "tube", "Solid State"])
    year = rng.choice(["1961", "1961.0", "1959-63", "1959–1963", ""])
    cells: list[object] = [
        key, date, f"Maker {rng.randrange(9)}", f"Model  {key.upper()}", kind, technology, year,
        rng.choice(["ok", "found", "restored"]), rng.choice(["20", "20 W", "35,5", ""]),
    ]  # fmt: skip
    if rng.random() < 0.06:
        place, text = rng.choice(
            [(1, "last summer"), (1, ""), (4, "gramophone"), (5, "?"), (6, "sixties"), (2, "")]
        )
        cells[place] = text
        return cells, False
    return cells, True


def _figure(rng: random.Random, column: str) -> tuple[object, float | None, str | None]:
    """A cell, its value in the metric's unit (None where it can't be told), its bound.

    Each column has one decimal sign.
    """
    if rng.random() < 0.08:
        return rng.choice(["", "-", "n/a"]), None, None
    if rng.random() < 0.06:
        return rng.choice(["low", "see notes", "1-3 %", "5 apples", "~1"]), None, None
    n = rng.randrange(1, 1000)
    cases: dict[str, list[tuple[object, float | None, str | None]]] = {
        "THD 1 W": [
            (f"0.{n:03}", n / 1000, None), (f"0.{n:03} %", n / 1000, None),
            ("-60 dB", 0.1, None), ("−40dB", 1.0, None), ("< 0.01 %", 0.01, "upper"),
            ("<=0.05%", 0.05, "upper"), ("1,234 ppm", 0.1234, None),
            (n / 1000, n / 1000, None), ("500 ppm", 0.05, None),
        ],
        "Hum+noise": [
            (f"{n / 100:.2f}".replace(".", ","), n / 1e5, None), (f"{n} µV", n / 1e6, None),
            (f"{n} uV", n / 1e6, None),
            (f"{n / 100:.2f} mV".replace(".", ","), n / 1e5, None), ("-80 dBV", 1e-4, None),
            ("< 0,1 mV", 1e-4, "upper"), ("1,234", 1.234e-3, None),
            (f"{n / 100:.2f}mVrms".replace(".", ","), n / 1e5, None),
        ],
        "Power 1 %": [
            (f"{n} W", float(n), None), ("12,6 V", 12.6**2 / 8, None), (f"{n}", float(n), None),
            ("> 100 W", 100.0, "lower"), ("0,05 kW", 50.0, None), ("1'250 W", 1250.0, None),
        ],
        "Damping": [
            (f"{n / 10:.1f}", n / 10, None), ("7.5", 7.5, None), (">= 200", 200.0, "lower"),
        ],
        "Sep. 1k": [("-60 dB", 60.0, None), ("-55.5", 55.5, None), (-48.25, 48.25, None)],
    }  # fmt: skip
    return rng.choice(cases[column])


# Files ----------------------------------------------------------------------------------------


def write_csv(path: Path, made: Messy, delimiter: str = ";", encoding: str = "utf-8-sig") -> None:
    import csv

    with path.open("w", newline="", encoding=encoding) as stream:
        csv.writer(stream, delimiter=delimiter).writerows([HEADINGS, *made.rows])


def write_xlsx(path: Path, rows: list[list[object]], sheet: str = "Amps") -> None:
    """A workbook of one sheet."""
    write_book(path, {sheet: rows})


def write_book(path: Path, sheets: dict[str, list[list[object]]]) -> None:
    """The least that ECMA-376 asks of a workbook with inline texts."""
    space = "http://schemas.openxmlformats.org"
    relations = f"{space}/officeDocument/2006/relationships"
    names = "".join(
        f'<sheet name="{escape(name)}" sheetId="{n}" r:id="r{n}"/>'
        for n, name in enumerate(sheets, start=1)
    )
    targets = "".join(
        f'<Relationship Id="r{n}" Type="{relations}/worksheet" Target="worksheets/sheet{n}.xml"/>'
        for n in range(1, len(sheets) + 1)
    )
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{space}/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.'
        'relationships+xml"/><Default Extension="xml" ContentType="application/xml"/>'
        '<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-'
        'officedocument.spreadsheetml.sheet.main+xml"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{space}/package/2006/relationships">'
        f'<Relationship Id="r1" Type="{relations}/officeDocument" '
        'Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{space}/spreadsheetml/2006/main" '
        f'xmlns:r="{relations}"><sheets>{names}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{space}/package/2006/relationships">'
        f"{targets}</Relationships>",
        "xl/styles.xml": _STYLES,
    }
    for n, rows in enumerate(sheets.values(), start=1):
        parts[f"xl/worksheets/sheet{n}.xml"] = (
            f'<worksheet xmlns="{space}/spreadsheetml/2006/main"><sheetData>{_xlsx_rows(rows)}'
            "</sheetData></worksheet>"
        )
    _zipped(path, parts)


def _xlsx_rows(rows: list[list[object]]) -> str:
    return "".join(
        f'<row r="{n}">' + "".join(_xlsx_cell(cell) for cell in row) + "</row>"
        for n, row in enumerate(rows, start=1)
    )


@dataclass(frozen=True)
class Percent:
    """A cell that is shown as a percentage and stored as a fraction."""

    fraction: float


_STYLES = (
    '<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><numFmts '
    'count="1"><numFmt numFmtId="170" formatCode="0.0000%"/></numFmts><cellXfs count="3">'
    '<xf numFmtId="0"/><xf numFmtId="10"/><xf numFmtId="170"/></cellXfs></styleSheet>'
)


def _xlsx_cell(cell: object) -> str:
    if isinstance(cell, Percent):
        return f'<c s="{1 if cell.fraction > 0.01 else 2}"><v>{cell.fraction!r}</v></c>'
    if isinstance(cell, float):
        return f"<c><v>{cell!r}</v></c>"
    return f'<c t="inlineStr"><is><t xml:space="preserve">{escape(str(cell))}</t></is></c>'


def write_ods(path: Path, rows: list[list[object]], sheet: str = "Amps") -> None:
    """The least that ISO/IEC 26300 asks of a spreadsheet."""
    space = "urn:oasis:names:tc:opendocument:xmlns"
    body = "".join(
        "<table:table-row>" + "".join(_ods_cell(cell) for cell in row) + "</table:table-row>"
        for row in rows
    )
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content '
        f'xmlns:office="{space}:office:1.0" xmlns:table="{space}:table:1.0" '
        f'xmlns:text="{space}:text:1.0"><office:body><office:spreadsheet>'
        f'<table:table table:name="{sheet}">{body}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    manifest = (
        f'<manifest:manifest xmlns:manifest="{space}:manifest:1.0"><manifest:file-entry '
        f'manifest:full-path="/" manifest:media-type="{kind}"/><manifest:file-entry '
        'manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>'
    )
    _zipped(path, {"mimetype": kind, "META-INF/manifest.xml": manifest, "content.xml": content})


def _ods_cell(cell: object) -> str:
    if isinstance(cell, Percent):
        kind = f'office:value-type="percentage" office:value="{cell.fraction!r}"'
        return f"<table:table-cell {kind}/>"
    if isinstance(cell, float):
        return f'<table:table-cell office:value-type="float" office:value="{cell!r}"/>'
    text = escape(str(cell))
    return (
        f'<table:table-cell office:value-type="string"><text:p>{text}</text:p></table:table-cell>'
    )


def _zipped(path: Path, parts: dict[str, str]) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
