"""Malformed spreadsheets by script: workbooks, open documents, text. Each a name and its bytes."""

# ruff: noqa: E501  (tables of oddities read best a line each)

from __future__ import annotations

import io
import tempfile
import zipfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np

from old_records import HEADINGS, messy, write_ods, write_xlsx

HEADED = "Date,Maker,Model,THD\n2001-02-03,Marrowgate,Heron,0.1 %\n"
SPACE = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def sheets() -> Iterator[tuple[str, bytes]]:
    """Spreadsheets that are cut, flipped, hollow, endless or contradictory."""
    for ending in ("xlsx", "ods"):
        yield from _damaged(ending, workbook(ending))
        yield from _members(ending, workbook(ending))
    yield from _cells()
    yield from _repeated()
    yield from _texts()
    yield from _other_bytes()


@cache
def workbook(ending: str) -> bytes:
    """A sound workbook of 12 rows."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"book.{ending}"
        write = write_xlsx if ending == "xlsx" else write_ods
        write(path, [list(HEADINGS), *messy(12).rows])
        return path.read_bytes()


def _damaged(ending: str, whole: bytes) -> Iterator[tuple[str, bytes]]:
    for share in (0, 1, 4, 30, 100, len(whole) // 2, len(whole) - 22, len(whole) - 1):
        yield f"{ending}-cut-at-{share}.{ending}", whole[:share]
    for seed in range(14):
        noisy, chance = bytearray(whole), np.random.default_rng(seed)
        for place in chance.integers(0, len(noisy), size=8):
            noisy[place] = int(chance.integers(256))
        yield f"{ending}-flipped-{seed}.{ending}", bytes(noisy)
    yield f"{ending}-with-rubbish-after.{ending}", whole + b"\xff" * 1000
    yield f"{ending}-with-rubbish-before.{ending}", b"\xff" * 1000 + whole


def _members(ending: str, whole: bytes) -> Iterator[tuple[str, bytes]]:
    """Each part of a workbook in turn replaced by what it should not be."""
    laughs = (
        '<!DOCTYPE a [<!ENTITY a "ha">'
        + "".join(f'<!ENTITY {chr(98 + n)} "{f"&{chr(97 + n)};" * 10}">' for n in range(9))
        + "]><a>&j;</a>"
    )
    instead = {
        "nothing": b"", "rubbish": b"\xff\x00" * 500, "open": b"<a><b>", "no-xml": b"words",
        "deep": b"<a>" * 50_000 + b"</a>" * 50_000, "laughs": laughs.encode(),
        "outside": b'<!DOCTYPE a [<!ENTITY e SYSTEM "file:///etc/hostname">]><a>&e;</a>',
    }  # fmt: skip
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    for member in parts:
        plain = member.replace("/", "-").strip("[]-")
        yield (
            f"{ending}-without-{plain}.{ending}",
            _zip({n: d for n, d in parts.items() if n != member}),
        )
        for name, data in instead.items():
            yield f"{ending}-{plain}-{name}.{ending}", _zip({**parts, member: data})


def _zip(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out.getvalue()


def _with_sheet(body: str) -> bytes:
    """The sound workbook with another sheet."""
    with zipfile.ZipFile(io.BytesIO(workbook("xlsx"))) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts["xl/worksheets/sheet1.xml"] = (
        f'<worksheet xmlns="{SPACE}"><sheetData>{body}</sheetData></worksheet>'.encode()
    )
    return _zip(parts)


def _text_cell(where: str, text: str) -> str:
    return f'<c r="{where}" t="inlineStr"><is><t>{text}</t></is></c>'


def _cells() -> Iterator[tuple[str, bytes]]:
    head = (
        '<row r="1">'
        + "".join(
            _text_cell(f"{c}1", t)
            for c, t in zip("ABCD", ("Date", "Maker", "Model", "THD"), strict=True)
        )
        + "</row>"
    )
    places = (
        "XFD1",
        "XFD1048576",
        "A1048576",
        "XFE1",
        "ZZZZ9",
        "A0",
        "A-1",
        "A",
        "1A",
        "",
        "A99999999999999999999",
        "AAAAAAAAAAAAAAAAAAAA1",
        "$A$2",
        "Ä2",
    )
    for n, place in enumerate(places):
        yield f"xlsx-cell-at-{n}.xlsx", _with_sheet(head + f"<row>{_text_cell(place, 'x')}</row>")
    for n, row in enumerate(("0", "-5", "1048577", "4294967296", "x", "1e9")):
        yield (
            f"xlsx-row-number-{n}.xlsx",
            _with_sheet(head + f'<row r="{row}"><c><v>1</v></c></row>'),
        )
    values = (
        "nan",
        "inf",
        "-inf",
        "1e999",
        "1e-400",
        "1e308",
        "abc",
        "",
        " ",
        "0x10",
        "１２",
        "1" * 100_000,
        "--1",
        "1,5",
        "TRUE",
    )
    for n, value in enumerate(values):
        yield (
            f"xlsx-number-{n}.xlsx",
            _with_sheet(head + f'<row r="2"><c r="D2"><v>{value}</v></c></row>'),
        )
    for n, kind in enumerate(("s", "b", "e", "d", "str", "n", "zzz")):
        for m, value in enumerate(("99999999999", "-1", "#DIV/0!", "2001-99-99")):
            yield (
                f"xlsx-type-{n}-{m}.xlsx",
                _with_sheet(head + f'<row r="2"><c r="D2" t="{kind}"><v>{value}</v></c></row>'),
            )
    for n, style in enumerate(("1", "99999999999", "-1", "x")):
        yield (
            f"xlsx-style-{n}.xlsx",
            _with_sheet(head + f'<row r="2"><c r="A2" s="{style}"><v>99999999999</v></c></row>'),
        )
    yield (
        "xlsx-cell-of-100-kb.xlsx",
        _with_sheet(head + f'<row r="2">{_text_cell("D2", "9 " * 50_000)}</row>'),
    )
    yield (
        "xlsx-cell-of-100-kb-of-blanks.xlsx",
        _with_sheet(head + f'<row r="2">{_text_cell("D2", "1" + " " * 100_000 + "%x")}</row>'),
    )
    yield (
        "xlsx-heading-of-100-kb.xlsx",
        _with_sheet(
            f'<row r="1">{_text_cell("A1", "Maker " * 20_000)}{_text_cell("B1", "Model")}</row>'
        ),
    )
    yield (
        "xlsx-many-columns.xlsx",
        _with_sheet(
            '<row r="1">' + "".join(f"<c><v>{n}</v></c>" for n in range(16_384)) + "</row>"
        ),
    )
    yield "xlsx-many-empty-cells.xlsx", _with_sheet('<row r="1">' + "<c/>" * 16_384 + "</row>")
    yield "xlsx-unfolds.xlsx", _with_sheet(head + _text_cell("D2", " " * 50_000_000))


def _repeated() -> Iterator[tuple[str, bytes]]:
    """Cells and rows of open documents that stand for millions."""
    with zipfile.ZipFile(io.BytesIO(workbook("ods"))) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    text = parts["content.xml"].decode()
    for n, times in enumerate(("0", "-1", "16384", "1048576", "4294967296", "x", "")):
        for m, (where, what) in enumerate((("table-cell", "columns"), ("table-row", "rows"))):
            changed = text.replace(
                f"<table:{where}", f'<table:{where} table:number-{what}-repeated="{times}"', 2
            )
            yield f"ods-repeated-{n}-{m}.ods", _zip({**parts, "content.xml": changed.encode()})


def _texts() -> Iterator[tuple[str, bytes]]:
    texts = {
        "empty": "", "blank": "\n\n\n", "headings-only": HEADED.splitlines()[0], "semicolons": HEADED.replace(",", ";"),
        "tabs": HEADED.replace(",", "\t"), "mixed-marks": HEADED + "2001-02-04;Marrowgate;Stilt;0,1\n",
        "open-quote": HEADED + '"2001-02-04,Marrowgate\n' * 3, "nul": HEADED + "\x00,\x00,\x00,1\n", "controls": HEADED + "\x1b[2J,\x07,\x08,1\n",
        "cell-of-200-kb": HEADED + "2001-02-04,M,N," + "9" * 200_000 + "\n", "cell-of-100-kb": HEADED + "2001-02-04,M,N," + "9 " * 50_000 + "\n",
        "cell-of-1-mb": HEADED + '"' + "x" * 10**6 + '",M,N,1\n', "cell-of-commas": HEADED + '2001-02-04,M,N,"' + "1," * 40_000 + '1"\n',
        "many-columns": ",".join(f"c{n}" for n in range(100_000)) + "\n", "many-marks": "," * 10**6 + "\n", "quotes": '"' * 10_001,
        "formula": HEADED + "=1+1,@SUM(A1),+2,-3\n", "twice-a-heading": HEADED.replace("Model", "Maker"), "no-headings": "1,2,3\n4,5,6\n",
        "old-mac": HEADED.replace("\n", "\r"), "dos": HEADED.replace("\n", "\r\n"), "marks-of-direction": HEADED + "2001-02-04,\u202eM\u202c,N,1 %\n",
        "days": HEADED + "".join(f"{day},M,N,1\n" for day in ("99/99/9999", "0000-00-00", "2001-02-30", "1/2/3/4", "%d", "10000-01-01")),
        "figures": HEADED + "".join(f'2001-02-04,M,N{n},"{text}"\n' for n, text in enumerate(("1e400 %", "± 5", "1 ± %", "@", "(((", "1 @ @", "< > 5", "9" * 500, "1 W @ 1 W @ 1 W", "−", "%"))),
        "html": "<html><body>Maker,Model</body></html>",
    }  # fmt: skip
    for name, text in texts.items():
        yield f"text-{name}.csv", text.encode()
    for codec in ("utf-16", "utf-16-le", "utf-32", "cp1252"):
        yield f"text-{codec}.csv", HEADED.replace("Heron", "Hérôn").encode(codec)
    chance = np.random.default_rng(3)
    for n in range(8):
        yield f"text-rubbish-{n}.csv", chance.bytes(3000)


def _other_bytes() -> Iterator[tuple[str, bytes]]:
    """Names that promise what the bytes don't hold."""
    ole = bytes.fromhex("d0cf11e0a1b11ae1")
    chance = np.random.default_rng(4)
    for ending in ("xlsx", "xlsm", "xls", "ods"):
        yield f"other-text.{ending}", HEADED.encode()
        yield f"other-empty-archive.{ending}", _zip({})
        yield f"other-ole.{ending}", ole + bytes(504)
        yield f"other-ole-rubbish.{ending}", ole + chance.bytes(4096)
        yield f"other-climbing.{ending}", _zip({"../../x.xml": b"<a/>", "xl/workbook.xml": b"<a/>"})
