"""Every table as Parquet and CSV, described by a Frictionless data package and a dictionary.

The description follows the Data Package, Tabular Data Resource and Table Schema specifications
(version 1) of the Frictionless Data project; property names are from memory of those texts.
"""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import polars as pl

from backbench.errors import NOT_EMPTY, Fault, UserError
from backbench.export.csv_escaping import inert
from backbench.export.data_dictionary import TABLES, described
from backbench.ingest.review_tables import KEPT_TABLES
from backbench.progress import nothing
from backbench.storage.atomic_io import (
    ASIDE,
    flush_everything,
    make_folder,
    rename,
    write_text_file,
)
from backbench.storage.database import Database
from backbench.storage.fault_injection import reached

PACKAGE = "datapackage.json"
DICTIONARY = "DICTIONARY.md"
PARTS = ("parquet", "csv", DICTIONARY, PACKAGE)
"""What an export consists of, in the order in which it is moved into a folder that is there."""
NOT_EXPORTED = ("migration", "between_sessions", *KEPT_TABLES)
"""The record of schema steps, and what is kept for speed and can be worked out again."""
LINKS = {
    "reading": [("review_key", "review"), ("metric", "metric")],
    "capture": [("review_key", "review")],
    "appearance": [("review_key", "review")],
    "published": [("review_key", "review")],
    "refused_entry": [("review_key", "review")],
    "heard": [("review_key", "review")],
    "curve": [("review_key", "review")],
    "reading_point": [("point_key", "test_point"), ("reading_key", "reading")],
    "entered": [("reading_key", "reading")],
    "computed_with": [("review_key", "review")],
    "bench_event": [("bench_key", "bench")],
}
KEYS = {
    "review": ["review_key"], "metric": ["metric"], "test_point": ["point_key"],
    "reading": ["reading_key"], "bench": ["bench_key"], "environment": ["environment_key"],
    "appearance": ["review_key", "unit_key"], "capture": ["review_key", "position"],
    "unit": ["unit_key"], "unit_kind": ["kind"], "heard": ["review_key", "unit_key"],
    "entered": ["reading_key"],
}  # fmt: skip


def export_catalogue(
    store: Database,
    folder: Path,
    title: str,
    *,
    dry: bool = False,
    started: Callable[[int], None] = nothing,
    progress: Callable[[int], None] = nothing,
) -> list[tuple[str, int]]:
    """Write all of a catalogue into a new or empty folder; name and rows of each table.

    started is called with the number of tables; progress, with how many were just written.
    Raises UserError where something is in the folder already that is not of an export that was
    broken off.
    """
    present = folder.exists()
    aside = folder / ASIDE if present else folder.with_name(f"{ASIDE}{folder.name}")
    if present and (not folder.is_dir() or _strangers(aside, folder)):
        fault = Fault(str(folder), NOT_EMPTY, "a new or empty folder", "choose another folder")
        raise UserError("the catalogue can't be exported", [fault])
    frames = {name: store.frame(f"FROM {name} ORDER BY ALL") for name in exported_tables(store)}
    written = [(name, frame.height) for name, frame in frames.items()]
    if dry:
        return written
    started(len(frames))
    try:
        _clear_moved(aside, folder)
        _fill(aside, frames, title, progress)
        if present:
            _move_in(aside, folder)
        else:
            rename(aside, folder)
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return written


def _move_in(aside: Path, folder: Path) -> None:
    """Into a folder that stays: the one a shell stands in, a link, the root of another disk.

    The package's description, which makes an export of it, comes last.
    """
    try:
        for name in PARTS:
            rename(aside / name, folder / name)
    except OSError:
        _clear_moved(aside, folder)
        raise


def _strangers(aside: Path, folder: Path) -> set[str]:
    """Names in the folder but those that an export that was broken off has left there."""
    with suppress(OSError):
        aside.rmdir()  # empty: all was moved
    moving = (aside / PACKAGE).exists()
    return {one.name for one in folder.iterdir()} - {aside.name, *(PARTS if moving else ())}


def _clear_moved(aside: Path, folder: Path) -> None:
    """Take out of the folder what was moved into it before the moving broke off."""
    if not (aside / PACKAGE).exists():
        return
    for path in [folder / name for name in PARTS if not (aside / name).exists()]:
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink(missing_ok=True)


def _fill(
    aside: Path, frames: dict[str, pl.DataFrame], title: str, progress: Callable[[int], None]
) -> None:
    """All files of the export, in a folder of which an earlier run may have left a part."""
    shutil.rmtree(aside, ignore_errors=True)
    for kind in ("parquet", "csv"):
        make_folder(aside / kind)
    for name, frame in frames.items():
        _write(aside / "parquet" / f"{name}.parquet", frame.write_parquet)
        _write(aside / "csv" / f"{name}.csv", inert(flat(frame)).write_csv)
        progress(1)
    package = package_of(frames, title)
    text = json.dumps(package, ensure_ascii=False, indent=1) + "\n"
    write_text_file(aside / DICTIONARY, dictionary_text(frames, title))
    write_text_file(aside / PACKAGE, text)  # last: it says that all is there
    flush_everything()


def _write(path: Path, write: Callable[[io.BytesIO], object]) -> None:
    """A file by way of memory: the disk's errors are then the system's own."""
    made = io.BytesIO()
    write(made)
    reached("write")
    path.write_bytes(made.getvalue())


def exported_tables(store: Database) -> list[str]:
    """Every table but those that no reader asks for, and the view of units."""
    return [*(name for name in store.tables() if name not in NOT_EXPORTED), "unit"]


def flat(frame: pl.DataFrame) -> pl.DataFrame:
    """Lists as JSON text: CSV has none."""
    nested = [name for name, kind in frame.schema.items() if kind.is_nested()]
    return frame.with_columns(
        pl.Series(
            name,
            [None if v is None else json.dumps(v) for v in frame[name].to_list()],
            pl.String,
        )
        for name in nested
    )


def package_of(frames: dict[str, pl.DataFrame], title: str) -> dict[str, Any]:
    """The content of datapackage.json."""
    return {
        "profile": "tabular-data-package",
        "name": "backbench-catalogue",
        "title": title,
        "description": "Bench measurements of audio equipment; DICTIONARY.md tells every column.",
        "resources": [_resource(name, frame, frames) for name, frame in frames.items()],
    }


def _resource(name: str, frame: pl.DataFrame, frames: dict[str, pl.DataFrame]) -> dict[str, Any]:
    schema: dict[str, Any] = {
        "fields": [_field(name, column, kind) for column, kind in frame.schema.items()],
        "missingValues": [""],
    }
    if name in KEYS:
        schema["primaryKey"] = KEYS[name]
    links = [
        {
            "fields": column,
            "reference": {"resource": other.replace("_", "-"), "fields": column},
        }
        for column, other in LINKS.get(name, []) if other in frames
    ]  # fmt: skip
    if links:
        schema["foreignKeys"] = links
    return {
        "profile": "tabular-data-resource", "name": name.replace("_", "-"),
        "path": f"csv/{name}.csv", "format": "csv", "mediatype": "text/csv", "encoding": "utf-8",
        "description": TABLES.get(name, ""), "schema": schema,
    }  # fmt: skip


def _field(table: str, column: str, kind: pl.DataType) -> dict[str, Any]:
    field: dict[str, Any] = {
        "name": column, "type": _type(kind), "description": described(table, column)[0],
    }  # fmt: skip
    unit = described(table, column)[1]
    return {**field, "unit": unit} if unit else field


def _type(kind: pl.DataType) -> str:
    if kind.is_nested():
        return "array"
    if kind.is_integer():
        return "integer"
    if kind.is_float():
        return "number"
    return {pl.Boolean: "boolean", pl.Date: "date"}.get(type(kind), "string")


def dictionary_text(frames: dict[str, pl.DataFrame], title: str) -> str:
    """The data dictionary, a section a table."""
    lines = [f"# {title}: data dictionary", "", "Lists stand as JSON text in the CSV files.", ""]
    for name, frame in frames.items():
        lines += [f"## {name}", TABLES.get(name, ""), "", "| column | type | unit | meaning |",
                  "| --- | --- | --- | --- |"]  # fmt: skip
        for column, kind in frame.schema.items():
            meaning, unit = described(name, column)
            lines.append(f"| `{column}` | {_type(kind)} | {unit} | {meaning} |")
        lines.append("")
    return "\n".join(lines)
