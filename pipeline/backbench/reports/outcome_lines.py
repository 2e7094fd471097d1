"""How the captures of a review ended, as lines of text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from backbench.reports.result_cells import printable
from backbench.storage.light_rows import Kind, LightRows

if TYPE_CHECKING:
    import polars as pl

    from backbench.ingest.outcomes import CaptureOutcome, ReviewOutcome


def fault_lines(ended: ReviewOutcome) -> list[str]:
    """A line for each capture that isn't whole, for contradictions, and for each warning."""
    lines = [*ended.faults(), *(f"warning: {line}" for line in ended.warnings())]
    return [printable(line) for line in lines]


def left_open(ended: ReviewOutcome) -> list[str]:
    """A line for each figure across captures for which they didn't suffice."""
    return [printable(f"not worked out: {line}") for line in ended.not_worked_out()]


def outcome_table(captures: Sequence[CaptureOutcome]) -> LightRows:
    """A row a capture, for the terminal: reasons and warnings stand beneath it."""
    kinds: dict[str, Kind] = {
        "position": "number", "file": "other", "stimulus": "other", "outcome": "other",
    }  # fmt: skip
    return LightRows(kinds, [(one.position, one.file, one.stimulus, one.state) for one in captures])


def outcome_frame(ended: ReviewOutcome) -> pl.DataFrame:
    """A row a capture with its reason and warnings, for formats that have room for them."""
    import polars as pl

    captures = ended.captures
    return pl.DataFrame(
        [
            pl.Series("position", [one.position for one in captures], pl.Int64),
            pl.Series("file", [one.file for one in captures], pl.String),
            pl.Series("stimulus", [one.stimulus for one in captures], pl.String),
            pl.Series("outcome", [one.state for one in captures], pl.String),
            pl.Series("reason", [one.reason for one in captures], pl.String),
            pl.Series("warnings", [list(one.warnings) for one in captures], pl.List(pl.String)),
        ]
    )
