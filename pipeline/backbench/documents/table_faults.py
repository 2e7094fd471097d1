"""What a manifest must say of a table beside its columns."""

from __future__ import annotations

from collections.abc import Iterator

from backbench.documents.table_stimulus import Table
from backbench.errors import Fault


def table_faults(table: Table, where: str) -> Iterator[Fault]:
    """The faults of one; where: the place of its capture in the manifest."""
    if table.table == "trace":
        yield from _trace_faults(table, where)
    if table.table == "harmonics" and table.tone_hz is None:
        yield Fault(f"{where}, stimulus", "no tone_hz", "the frequency that the harmonics are of")
    if table.table == "distortion" and (table.tone_hz is None) == (
        "frequency" not in table.columns
    ):
        found = "no frequency" if table.tone_hz is None else "tone_hz and a column of frequencies"
        yield Fault(f"{where}, stimulus", found, "either tone_hz or a column of frequencies")


def _trace_faults(trace: Table, where: str) -> Iterator[Fault]:
    shown = sum(one is not None for one in trace.shown)
    if shown != 1:
        found = "a trace that shows several things" if shown else "a trace without what it shows"
        yield Fault(
            f"{where}, stimulus", found,
            "exactly one of square_hz, tone_hz, burst_hz (with on_ms and period_ms), ripple",
            "no default is assumed",
        )  # fmt: skip
