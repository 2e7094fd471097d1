"""The line of a TOML file on which a value stands, for messages; the parser doesn't keep it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from backbench.errors import Fault

QUOTES = str.maketrans("", "", "\"'")


def with_line(fault: Fault, name: str, line: int | None) -> Fault:
    """The fault with its line named after the file's name."""
    rest = fault.where.removeprefix(f"{name}, ")
    if line is None or rest == fault.where:
        return fault
    return replace(fault, where=f"{name}, line {line}, {rest}")


def line_of(text: str, location: Sequence[str | int]) -> int | None:
    """The line of the value at a path (entries of lists counted from 0), from 1.

    The line of the table or entry around it where the value has none of its own, as one that is
    missing; None where that isn't found either.
    """
    lines, headers = _outline(text)
    begin, depth = _deepest(headers, location)
    end = next((n for n, _ in headers if n > begin), len(lines))
    for key in (part for part in location[depth:] if isinstance(part, str)):
        own = re.compile(rf"\s*[\"']?{re.escape(key)}[\"']?\s*[=.]")
        found = next((n for n in range(max(begin, 0), end) if own.match(lines[n])), None)
        if found is not None:
            return found + 1
    return begin + 1 if begin >= 0 else None


@lru_cache(maxsize=1)
def _outline(text: str) -> tuple[list[str], list[tuple[int, str]]]:
    """The lines of a file, and its headers with where they stand: once for all of its faults."""
    lines = text.splitlines()
    begun = ((n, line.strip()) for n, line in enumerate(lines))
    headers = [(n, _table_name(line)) for n, line in begun if line.startswith("[")]
    return lines, headers


def _table_name(header: str) -> str:
    """The name between the brackets, without quotation marks and spaces."""
    return header.lstrip("[").partition("]")[0].translate(QUOTES).replace(" ", "")


def _deepest(headers: Sequence[tuple[int, str]], location: Sequence[str | int]) -> tuple[int, int]:
    """Where the innermost table of a path begins, and how many parts of the path lead to it.

    Line -1 and no part for what stands above all tables.
    """
    begin, depth, path = -1, 0, ""
    for n, part in enumerate(location):
        if not isinstance(part, str):
            continue
        path = f"{path}.{part}" if path else part
        later = [line for line, name in headers if line > begin and name == path]
        if n + 1 < len(location) and isinstance(following := location[n + 1], int):
            if following >= len(later):
                return begin, depth
            begin, depth = later[following], n + 2
        elif later:
            begin, depth = later[0], n + 1
    return begin, depth
