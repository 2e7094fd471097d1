"""The rows of a sheet that hold its headings: found below a title, joined where there are two."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import zip_longest

from backbench.backfill.heading_words import fact_named

SEARCHED_ROWS = 40
"""Rows from the top in which headings are looked for."""
_FIGURE = re.compile(r"[<>≤≥~±]?\s*[-−]?\d[\d.,'’  ]*\s*(?:\S{1,4})?")


def joined_headings(rows: Sequence[Sequence[str]]) -> list[str]:
    """One heading a column: a heading that stands over several columns goes before each of theirs.

    A column whose lower heading is that of a fact, such as Notes, ends the group to its left.
    """
    if len(rows) == 1:
        return list(rows[0])
    headings, group = [], ""
    for above, below in zip_longest(*rows[:2], fillvalue=""):
        group = above or (group if below and fact_named(below) is None else "")
        headings.append(f"{group} {below}".strip() if below else group)
    return headings


def found_headings(rows: Sequence[Sequence[str]]) -> tuple[int, int] | None:
    """The row of the headings, from 1, and how many rows they take; None where none is like them.

    rows: the sheet's cells as texts.
    """
    best: tuple[int, int, int] = (0, 0, 0)
    for n, row in enumerate(rows[:SEARCHED_ROWS]):
        score = _score(row)
        if score > best[0]:
            best = (score, n, 1)
        if n + 1 < len(rows) and _two_rows(row, rows[n + 1]):
            joined = _score(joined_headings([row, rows[n + 1]]))
            if joined > best[0]:
                best = (joined, n, 2)
    score, n, count = best
    return (n + 1, count) if score else None


def _score(row: Sequence[str]) -> int:
    """How much a row is like headings: several different short texts, best those of facts."""
    named = [text for text in row if text]
    if len(named) < 2 or len(set(named)) < len(named):
        return 0
    figures = sum(bool(_FIGURE.fullmatch(text)) for text in named)
    if 2 * figures > len(named) or any(len(text) > 80 for text in named):
        return 0
    facts = {fact for text in named if (fact := fact_named(text))}
    return 10 * len(facts) + len(named) - 3 * figures if facts else 0


def _two_rows(above: Sequence[str], below: Sequence[str]) -> bool:
    """Whether two rows are one heading: one over several columns, and none over ordinary cells."""
    pairs = list(zip_longest(above, below, fillvalue=""))
    groups = single = 0
    for n, (top, under) in enumerate(pairs):
        if not top or not under:
            continue
        following = pairs[n + 1] if n + 1 < len(pairs) else ("", "")
        if not following[0] and following[1] and n > 0:
            groups += 1
        else:
            single += 1
    return groups > 0 and single <= groups
