"""Tables and traces in strange dress, read and measured: what must hold whatever the bytes."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from backbench.documents.conditions import Conditions
from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.errors import Refusal, UserError
from backbench.metrics.declaration import CaptureData
from backbench.metrics.measurement import measure
from backbench.readers.file_formats import read_table


def _table(kind: str, units: tuple[str, ...], keys: tuple[str, ...], **more: object) -> Table:
    columns = {
        key: TableColumn(number=n, unit=unit)
        for n, (key, unit) in enumerate(zip(keys, units, strict=True), start=1)
    }
    return Table(table=kind, columns=columns, **more)  # type: ignore[arg-type]


TRACE = ("time", "voltage")
TABLES = (
    _table("response", ("Hz", "dB"), ("frequency", "level")),
    _table("response", ("Hz", "V", "V"), ("frequency", "level", "generator")),
    _table("response", ("Hz", "V", "V"), ("frequency", "real", "imaginary"), generator_vrms=0.1),
    _table("impedance", ("Hz", "ohm", "deg"), ("frequency", "magnitude", "phase")),
    _table("impedance", ("Hz", "ohm", "ohm"), ("frequency", "real", "imaginary")),
    _table("trace", ("s", "V"), TRACE, square_hz=1000.0),
    _table("trace", ("s", "V"), TRACE, tone_hz=1000.0),
    _table("trace", ("s", "V", "V"), (*TRACE, "generator"), tone_hz=1000.0),
    _table("trace", ("s", "V"), TRACE, burst_hz=1000.0, on_ms=20.0, period_ms=50.0),
    _table("trace", ("s", "V"), TRACE, ripple="reservoir"),
    _table("distortion", ("W", "%", "%"), ("power", "thd", "thd_n"), tone_hz=1000.0),
    _table("distortion", ("Hz", "dB"), ("frequency", "thd_n")),
    _table("harmonics", ("1", "V"), ("order", "level"), tone_hz=1000.0),
    _table("spectrum", ("Hz", "dBV"), ("frequency", "level"), tone_hz=1000.0),
)
"""What a file is declared as; the first byte of an input chooses."""


def sound_tables() -> list[bytes]:
    """A sound file for each of the tables, with the byte that chooses it."""
    return [bytes([n]) + _text(table) for n, table in enumerate(TABLES)]


def _text(table: Table) -> bytes:
    rows = zip(*_columns(table), strict=True)
    return "\n".join(",".join(f"{value:.5g}" for value in row) for row in rows).encode()


def _columns(table: Table) -> list[np.ndarray]:
    x = np.arange(1.0, 41.0)
    if table.table == "trace":
        return _trace(table)
    if table.table == "spectrum":
        bins = np.arange(0.0, 400.0)
        return [bins * 20, -100 + 3 * np.sin(bins) + 95 * (bins == 50) + 50 * (bins == 100)]
    first = x if table.table == "harmonics" else x * 50
    others = [2 + np.sin(x * 0.7 + k) for k in range(len(table.columns) - 1)]
    return [first, *(-40 - y if "dB" in str(table.columns) else y for y in others)]


def _trace(table: Table) -> list[np.ndarray]:
    if table.burst_hz:
        time = np.arange(2600) * 4.5e-5
        return [time, np.where((time + 0.04) % 0.05 < 0.02, np.sin(2000 * np.pi * time), 0)]
    time = np.arange(300) * (2e-4 if table.ripple else 2e-5)
    if table.ripple:
        return [time, 320 - time * 100 % 1]
    sine = np.sin(2 * np.pi * 1000 * time)
    if table.square_hz:
        return [time, np.clip(20 * sine, -1, 1)]
    return [time, sine, 0.1 * sine][: len(table.columns)]


def read_and_measure(data: bytes, path: Path) -> str:
    """What became of one input: "refused" by the reader, "measured", or "no figure".

    Raises whatever is wrong: any error but those in words, and a figure that is not finite.
    """
    table = TABLES[data[0] % len(TABLES)] if data else TABLES[0]
    path.write_bytes(data[1:])
    try:
        read = read_table(path, table, name="table.csv")
    except UserError as error:
        if any("\n" in str(fault) for fault in error.faults):
            raise RuntimeError("a fault of more than a line") from error
        return "refused"
    capture_data = CaptureData(
        table, Conditions(load_ohm=8.0), {}, table=read.columns,
        table_uncertainty=read.uncertainty, load_uncertainty=0.01, mains_hz=50.0,
    )  # fmt: skip
    try:
        findings, traces = measure(capture_data)
    except Refusal:
        return "no figure"
    figures = [finding.figure for finding in findings if finding.figure is not None]
    for figure in figures:
        numbers = (figure.value, figure.uncertainty, figure.estimation)
        if not all(map(math.isfinite, numbers)) or figure.uncertainty < 0:
            raise RuntimeError(f"no finite figure: {figure}")
    for trace in traces:
        for values in (trace.data.x, trace.data.y, trace.data.uncertainty):
            if values is not None and not np.isfinite(values).all():
                raise RuntimeError(f"no finite curve: {trace.name}")
    return "measured" if figures else "no figure"


PIECES = (
    b"1e300", b"-1e300", b"1e-300", b"-306.5", b"0", b"-0.0", b"nan", b"OL", b"9.9e37", b"", b",",
    b"\n", b";", b"\t", b"1", b"1,2,3", b'"', b"# x\n", b"\xff", b"1e5", b"-5", b"1000",
)  # fmt: skip


def mutated(rng: np.random.Generator, data: bytes) -> bytes:
    """A sound input with a few of its cells, lines or bytes changed."""
    held = bytearray(data)
    for _ in range(int(rng.integers(1, 6))):
        way, at = int(rng.integers(5)), int(rng.integers(1, max(len(held), 2)))
        end = min(at + int(rng.integers(1, 12)), len(held))
        if way == 0:
            held[at:end] = PIECES[int(rng.integers(len(PIECES)))]
        elif way == 1:
            _cell_of(held, rng, PIECES[int(rng.integers(len(PIECES)))])
        elif way == 2:
            del held[at:end]
        elif way == 3:
            held[at:at] = held[at:end]
        else:
            _constant_column(held, rng)
    return bytes(held)


def _cell_of(held: bytearray, rng: np.random.Generator, piece: bytes) -> None:
    """Another content for one cell."""
    lines = bytes(held[1:]).split(b"\n")
    k = int(rng.integers(len(lines)))
    cells = lines[k].split(b",")
    cells[int(rng.integers(len(cells)))] = piece
    lines[k] = b",".join(cells)
    held[1:] = b"\n".join(lines)


def _constant_column(held: bytearray, rng: np.random.Generator) -> None:
    """The same value in every row of a column, or a whole column a million times greater."""
    lines = [line.split(b",") for line in bytes(held[1:]).split(b"\n")]
    column = int(rng.integers(3))
    power = b"e" + str(int(rng.integers(-15, 12))).encode()
    value = lines[0][min(column, len(lines[0]) - 1)] if rng.random() < 0.5 else None
    for cells in lines:
        if column < len(cells):
            cells[column] = cells[column] + power if value is None else value
    held[1:] = b"\n".join(b",".join(cells) for cells in lines)
