"""The factor of a probe that the lines above a trace state, and what is to be asked of it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, NamedTuple

from backbench.documents.validation import shortened
from backbench.quantities.numerals import DecimalSign
from backbench.quantities.writing import in_text

LABEL = (
    r"\b(?:probe|attenuation|atten)\b(?:\W*\b(?:ratio|factor|attenuation|atten|scale|setting)\b)*"
)
"""How such a line names it: common practice, no source."""
SCALED = {"trace": ("voltage", "generator"), "response": ("level", "generator")}
"""Columns that a probe divides, by kind of table."""


class ProbeFactor(NamedTuple):
    """How much a probe divides by, and where the file says so, in words."""

    factor: float
    source: str


def probe_factor(above: Sequence[str], decimal: DecimalSign) -> ProbeFactor | None:
    """The first factor other than 1 that the lines above a table state; None where none does.

    "Probe 10x", "Attenuation: 10", "probe ratio 10:1" and the like. What has a unit is none.
    """
    point = re.escape(decimal)
    number = rf"([0-9]{{1,4}}(?:{point}[0-9]+)?(?:e[-+]?[0-9]+)?)"
    written = rf"(?:x\s*{number}|1\s*:\s*{number}|{number}\s*(?:x|×|:\s*1)?)"
    pattern = re.compile(rf'{LABEL}[\s:=,;"]*{written}(?=["\s]*(?:[,;|\t]|$))')
    for number_of_line, line in enumerate(above, start=1):
        match = pattern.search(line[:200].lower().replace("_", " ").replace("×", "x").rstrip())
        if match is None:
            continue
        text = next(group for group in match.groups() if group)
        factor = float(text.replace(decimal, "."))
        if factor > 0 and factor != 1:
            return ProbeFactor(factor, f"line {number_of_line}, {shortened(line.strip())}")
    return None


def with_question(table: dict[str, Any], probe: ProbeFactor | None) -> dict[str, Any]:
    """The table of an entry, with the factor to be filled in or taken out where one is stated.

    An instrument may have multiplied the values by it already: the file doesn't say.
    """
    keys = SCALED.get(table["table"], ())
    if probe is None or not keys:
        return table
    asked = (
        f"FILL IN: {in_text(probe.factor)} if the values are those at the instrument's input, or "
        f"take this key out if they are multiplied already ({probe.source})"
    )
    columns = {
        key: {**column, "factor": asked}
        if key in keys and not str(column.get("unit")).startswith("dB")
        else column
        for key, column in table["columns"].items()
    }
    return {**table, "columns": columns}
