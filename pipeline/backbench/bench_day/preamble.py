"""Start and increment of a trace's time, from the lines that an instrument writes above it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from backbench.quantities.numerals import DecimalSign
from backbench.quantities.units import scaled, spelled_unit
from backbench.readers.table_cells import number_of
from backbench.readers.text_layout import COMMENT, heading_of, is_comment

INCREMENT = re.compile(
    r"(x|time|t|horizontal|sampl(e|ing))?(incr|increment|interval|step|period|delta)|d[tx]|deltat"
)
START = re.compile(r"(x|time|t|horizontal)(zero|origin|start|offset)|[tx]0|start(time)?|firstx?")
RATE = re.compile(r"sampl(e|ing)(rate|frequency)|samplespersecond|fs")
"""Labels without spaces, in small letters: common practice, no source."""
SAMPLES_PER_SECOND = re.compile(r"((Sa|S|[Ss]amples?)(/s(ec)?)?|[Ss]ps|SPS)$")
"""What rates are written in beside hertz; a prefix may stand before it. Common practice, no source.
"""


class CountedTime(NamedTuple):
    """Time of the first row and distance of the rows, in unit; unit None where it isn't stated."""

    start: float
    increment: float
    unit: str | None


class _Line(NamedTuple):
    label: str
    value: float
    unit: str | None


def counted_time(above: Sequence[str], decimal: DecimalSign) -> CountedTime | None:
    """What the lines above a table say of its time; None where they name no increment.

    Where no start is named it is 0: the zero of a trace's time is where the reader puts it.
    """
    lines = [*_lines(above, decimal)]
    written = [_known(line) for line in lines if INCREMENT.fullmatch(line.label)]
    steps = [_in_seconds(line) for line in written]
    steps += filter(None, (_from_rate(line) for line in lines if RATE.fullmatch(line.label)))
    if len({(step.value, step.unit) for step in steps}) != 1 or steps[0].value <= 0:
        return None
    # A start without a unit is in that which the increment was written in.
    unit = written[0].unit if written else steps[0].unit
    starts = [
        _in_seconds(line if line.unit else line._replace(unit=unit))
        for line in map(_known, lines) if START.fullmatch(line.label)
    ]  # fmt: skip
    alike = [line.value for line in starts if line.unit == steps[0].unit]
    return CountedTime(alike[0] if alike else 0.0, steps[0].value, steps[0].unit)


def _lines(above: Sequence[str], decimal: DecimalSign) -> Iterator[_Line]:
    """Labels with a number behind or beneath them, with its unit."""
    yield from _beneath(above, decimal)
    for line in above:
        plain = COMMENT.sub("", line, count=1) if is_comment(line) else line
        cells = _cells(plain.strip(), decimal)
        read = number_of(cells[1], decimal) if len(cells) > 1 else None
        if read is None:
            continue
        heading = heading_of(cells[0])
        beside = cells[2] if len(cells) > 2 else ""
        unit = read[1] or heading.unit or beside or None
        yield _Line(_label(heading.name), read[0], unit)


def _beneath(above: Sequence[str], decimal: DecimalSign) -> Iterator[_Line]:
    for upper, lower in pairwise(map(_parted, above)):
        for label, cell in zip(upper, lower, strict=False):
            read = number_of(cell, decimal)
            if read is not None and number_of(label, decimal) is None:
                heading = heading_of(label)
                yield _Line(_label(heading.name), read[0], read[1] or heading.unit or None)


def _parted(line: str) -> list[str]:
    parting = r"[;\t|]" if re.search(r"[;\t|]", line) else ","
    return [cell.strip(' "') for cell in re.split(parting, line)]


def _label(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower())


def _cells(line: str, decimal: DecimalSign) -> list[str]:
    """Label, value and what follows, whatever parts them."""
    for parting in (r"[;\t|]", r"," if decimal == "." else r"\s{2,}", r"[:=]", r"\s+(?=[-+.0-9])"):
        cells = [cell.strip(' ":=') for cell in re.split(parting, line)]
        if len(cells) > 1:
            return cells
    return [line]


def _in_seconds(line: _Line) -> _Line:
    named = spelled_unit(line.unit) if line.unit else None
    if named is None or named[0] != "s":
        return line
    return line._replace(value=scaled(line.value, named[1]), unit="s")


def _from_rate(line: _Line) -> _Line | None:
    """The increment of a sample rate in hertz or samples a second; None of another."""
    named = spelled_unit(SAMPLES_PER_SECOND.sub("Hz", line.unit or "Hz"))
    if line.value <= 0 or named is None or named[0] != "Hz":
        return None
    return line._replace(value=scaled(1 / line.value, -named[1]), unit="s")


def _known(line: _Line) -> _Line:
    """The line without what is no unit, as a remark beside its number."""
    return line if line.unit and spelled_unit(line.unit) else line._replace(unit=None)
