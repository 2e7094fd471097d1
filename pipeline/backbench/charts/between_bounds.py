"""Curves of points of which some are bounds: a line joins values alone."""

from __future__ import annotations

from backbench.charts.curve_layers import Lines

RUN = "_run"
"""Column of a line's rows: which piece of it a value belongs to; none of a bound."""


def in_runs(lines: Lines) -> Lines:
    """The same rows, each with the piece between bounds that it belongs to."""
    counted: Lines = {}
    for key, line in lines.items():
        run, rows = 0, []
        for row in line:
            bound = bool(row.get("bound"))
            run += bound
            rows.append(row | {RUN: None if bound else run})
        counted[key] = rows
    return counted


def values_alone(lines: Lines) -> Lines:
    """Each piece between bounds as a line of its own, without the bounds."""
    pieces: Lines = {}
    for (unit, output), line in in_runs(lines).items():
        for row in line:
            if row[RUN] is not None:
                pieces.setdefault((unit, f"{output} {row[RUN]}"), []).append(row)
    return pieces
