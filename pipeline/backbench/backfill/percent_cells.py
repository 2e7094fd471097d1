"""Cells that a workbook shows as percentages: it stores them as fractions of one.

The reader of workbooks gives values without their formats, so these are looked up here: number
formats of ECMA-376 (part 1, 18.8.30: 9 and 10, and every one with a % of its own), value types of
ISO/IEC 26300 (19.385, office:value-type).
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from xml.etree import ElementTree

from backbench.backfill.sheet_addresses import place_of

MOST_BYTES = 200_000_000
"""Of one unpacked part of a workbook."""
_MOST_REPEATED = 20_000
_BUILT_IN = {9, 10}
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_DAMAGED = (zipfile.BadZipFile, zlib.error, ElementTree.ParseError, KeyError, RuntimeError)
_LITERAL = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]')


def percent_cells(path: Path, sheet: str) -> set[tuple[int, int]] | None:
    """Rows and columns, from 0, of the sheet's percentages; None where the format can't tell.

    Raises ValueError or OSError for a damaged file.
    """
    suffix = path.suffix.lower()
    if suffix == ".xls":
        return None
    with damage_as_value_error(), zipfile.ZipFile(path) as archive:
        return set(_of_ods(archive, sheet) if suffix == ".ods" else _of_xlsx(archive, sheet))


@contextmanager
def damage_as_value_error() -> Iterator[None]:
    """Whatever a damaged archive makes the libraries raise, as a ValueError."""
    try:
        yield
    except _DAMAGED as error:
        raise ValueError(str(error)) from None


def _of_xlsx(archive: zipfile.ZipFile, sheet: str) -> Iterator[tuple[int, int]]:
    styles = _percent_styles(archive)
    if not styles:
        return
    for place, element in _xlsx_cells(archive, sheet):
        if element.get("s") in styles and element.get("t", "n") == "n":
            yield place


def cells_of_xlsx(archive: zipfile.ZipFile, sheet: str) -> Iterator[tuple[int, int]]:
    """Rows and columns, from 0, of the cells of a sheet that hold something."""
    for place, element in _xlsx_cells(archive, sheet):
        if len(element):
            yield place


def _xlsx_cells(
    archive: zipfile.ZipFile, sheet: str
) -> Iterator[tuple[tuple[int, int], ElementTree.Element]]:
    row = column = -1
    with _part(archive, _sheet_part(archive, sheet)) as stream:
        for event, element in ElementTree.iterparse(stream, ("start", "end")):
            name = _local(element)
            if event == "start" and name == "row":
                row, column = int(element.get("r", row + 2)) - 1, -1
            elif event == "end" and name == "c":
                where = element.get("r")
                row, column = place_of(where) if where else (row, column + 1)
                yield (row, column), element
            if event == "end" and name in {"c", "row"}:
                element.clear()


def _percent_styles(archive: zipfile.ZipFile) -> set[str]:
    """Numbers of the cell styles whose number format has a percent sign."""
    if "xl/styles.xml" not in archive.namelist():
        return set()
    with _part(archive, "xl/styles.xml") as stream:
        root = ElementTree.parse(stream).getroot()
    formats = set(_BUILT_IN)
    for element in root.iter():
        if _local(element) == "numFmt" and "%" in _LITERAL.sub("", element.get("formatCode", "")):
            formats.add(int(element.get("numFmtId", -1)))
    cells = next((e for e in root if _local(e) == "cellXfs"), None)
    every = () if cells is None else enumerate(cells)
    return {str(n) for n, xf in every if int(xf.get("numFmtId", 0)) in formats}


def _sheet_part(archive: zipfile.ZipFile, sheet: str) -> str:
    with _part(archive, "xl/workbook.xml") as stream:
        sheets = [e for e in ElementTree.parse(stream).iter() if _local(e) == "sheet"]
    (one,) = (e for e in sheets if e.get("name") == sheet)
    key = next((value for name, value in one.attrib.items() if name.endswith("}id")), None)
    with _part(archive, "xl/_rels/workbook.xml.rels") as stream:
        targets = {e.get("Id"): e.get("Target", "") for e in ElementTree.parse(stream).iter()}
    target = targets[key]
    return target[1:] if target.startswith("/") else str(PurePosixPath("xl") / target)


def _of_ods(archive: zipfile.ZipFile, sheet: str) -> Iterator[tuple[int, int]]:
    for (row, column), (rows, columns), element in _ods_cells(archive, sheet):
        if element.get(f"{_OFFICE}value-type") == "percentage":
            for n in range(min(rows, _MOST_REPEATED)):
                yield from ((row + n, column + m) for m in range(min(columns, 1024)))


def cells_of_ods(archive: zipfile.ZipFile) -> Iterator[tuple[int, int]]:
    """Rows and columns, from 0, of the cells of all sheets that hold something."""
    for (row, column), (rows, columns), element in _ods_cells(archive, None):
        if element.get(f"{_OFFICE}value-type") is not None:
            yield row + rows - 1, column + columns - 1


def _ods_cells(
    archive: zipfile.ZipFile, sheet: str | None
) -> Iterator[tuple[tuple[int, int], tuple[int, int], ElementTree.Element]]:
    """Each cell's row and column, how many rows and columns it stands for, and its element."""
    inside, row, column, rows = False, 0, 0, 1
    with _part(archive, "content.xml") as stream:
        for event, element in ElementTree.iterparse(stream, ("start", "end")):
            if element.tag == f"{_TABLE}table":
                inside = event == "start" and sheet in {None, element.get(f"{_TABLE}name")}
                row = 0
            elif inside and element.tag == f"{_TABLE}table-row":
                column, rows = 0, _repeated(element, "rows") if event == "start" else rows
                row += 0 if event == "start" else rows
            elif inside and event == "start" and _local(element) in _CELLS:
                times = _repeated(element, "columns")
                yield (row, column), (rows, times), element
                column += times
            if event == "end":
                element.clear()


_CELLS = {"table-cell", "covered-table-cell"}


def _repeated(element: ElementTree.Element, what: str) -> int:
    return int(element.get(f"{_TABLE}number-{what}-repeated", 1))


def _part(archive: zipfile.ZipFile, name: str) -> zipfile.ZipExtFile:
    if archive.getinfo(name).file_size > MOST_BYTES:
        raise ValueError(f"{name} of more than {MOST_BYTES} bytes")
    return archive.open(name)  # type: ignore[return-value]


def _local(element: ElementTree.Element) -> str:
    return element.tag.rpartition("}")[2]
