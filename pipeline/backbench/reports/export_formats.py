"""A result written as a table, CSV, JSON, Parquet or Markdown."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import IO, TYPE_CHECKING

from backbench.errors import Fault, UserError
from backbench.export.csv_escaping import inert
from backbench.reports.terminal_tables import show_frame
from backbench.storage.atomic_io import write_user_file
from backbench.storage.light_rows import LightRows

if TYPE_CHECKING:
    import polars as pl

    from backbench.querying.saved_queries import SavedQuery

FORMATS = ("table", "csv", "json", "parquet", "markdown")


def export(
    frame: LightRows | pl.DataFrame,
    out_format: str,
    out: Path | None = None,
    query: SavedQuery | None = None,
    stream: IO[str] | None = None,
    needed: Sequence[str] = (),
) -> None:
    """A result to a file, or to standard output, in one of FORMATS.

    Raises UserError for another format, for Parquet without a file, and where the file can't be
    written. Lists become JSON text in CSV and Markdown. needed: columns that a narrow table keeps.
    A LightRows is written as a table, whatever the format.
    """
    if out_format not in FORMATS:
        raise UserError("the result can't be written", [
            Fault("format", out_format, f"one of {', '.join(FORMATS)}")])  # fmt: skip
    if out_format == "table" and out is None:
        with nullcontext() if isinstance(frame, LightRows) else _of_known_types(frame, out_format):
            show_frame(frame, query, stream, needed)
        return
    if isinstance(frame, LightRows):
        data = _as_text(frame, query)
    else:
        with _of_known_types(frame, out_format):
            data = _written(frame, out_format, query)
    if out is None:
        _to_stream(data, out_format, stream)
        return
    try:
        write_user_file(out, data)
    except OSError as error:
        fault = Fault(str(out), str(error.strerror), "a file that can be written")
        raise UserError("the result can't be written", [fault]) from None


@contextmanager
def _of_known_types(frame: pl.DataFrame, out_format: str) -> Iterator[None]:
    """A value that a format has no form for, such as bytes or an endless day, as a UserError."""
    from polars.exceptions import PanicException, PolarsError

    try:
        yield
    except UnicodeError:
        raise  # of the stream, not of a value
    except (PanicException, PolarsError, ValueError, OverflowError):
        types = ", ".join(f"{name}: {kind}" for name, kind in frame.schema.items())
        fault = Fault(
            "the columns", f"a value that {out_format} can't show, among {types}",
            "finite numbers, texts, and days of the years 1 to 9999",
            "write CAST(column AS VARCHAR) in the query",
        )  # fmt: skip
        raise UserError("the result can't be written", [fault]) from None


def _to_stream(data: bytes, out_format: str, stream: IO[str] | None) -> None:
    if stream is not None and out_format != "parquet":
        stream.write(data.decode())
        return
    if out_format == "parquet" and sys.stdout.isatty():
        fault = Fault("format", "parquet to a terminal", "a file", "name one with --out")
        raise UserError("the result can't be written", [fault])
    sys.stdout.flush()
    sys.stdout.buffer.write(data)
    sys.stdout.buffer.flush()


def _written(frame: pl.DataFrame, out_format: str, query: SavedQuery | None) -> bytes:
    import io

    buffer = io.BytesIO()
    match out_format:
        case "csv":
            inert(_flat(frame)).write_csv(buffer)
        case "json":
            frame.write_json(buffer)
            buffer.write(b"\n")
        case "parquet":
            frame.write_parquet(buffer)
        case "markdown":
            buffer.write(_markdown(frame).encode())
        case _:
            buffer.write(_as_text(frame, query))
    return buffer.getvalue()


def _as_text(frame: LightRows | pl.DataFrame, query: SavedQuery | None) -> bytes:
    import io

    text = io.StringIO()
    show_frame(frame, query, text)
    return text.getvalue().encode()


def _flat(frame: pl.DataFrame) -> pl.DataFrame:
    """Lists as JSON text, for formats that have none."""
    import json

    import polars as pl

    nested = [name for name, kind in frame.schema.items() if kind.is_nested()]
    return frame.with_columns(
        pl.Series(name, [None if v is None else json.dumps(v, default=_text) for v in
                         frame[name].to_list()], pl.String)
        for name in nested
    )  # fmt: skip


def _text(value: object) -> str:
    """A value that JSON has no form for. Raises ValueError for bytes, which are no text."""
    if isinstance(value, bytes):
        raise ValueError("bytes")
    return str(value)


def _markdown(frame: pl.DataFrame) -> str:
    """A table as Markdown has it; numbers in full. No cell is read as markup."""
    import html
    import re

    flat = _flat(frame)

    def row(cells: Sequence[object]) -> str:
        texts = ("" if cell is None else html.escape(str(cell), quote=False) for cell in cells)
        marked = (re.sub(r"([\\|`*]|\](?=[(\[:]))", r"\\\1", text) for text in texts)
        return "| " + " | ".join(" ".join(text.splitlines()) for text in marked) + " |"

    rule = ["---:" if kind.is_numeric() else "---" for kind in flat.schema.values()]
    lines = [row(flat.columns), row(rule), *(row(cells) for cells in flat.iter_rows())]
    return "\n".join(lines) + "\n"
