"""Which columns of a table fit the terminal, and how wide each one is."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

GAP = 2
"""Characters between two columns."""
EDGE = 2
"""Characters before the first column and after the last one, together."""
NARROWEST, NARROWEST_PROSE, NARROWEST_NEEDED = 16, 26, 10
"""How narrow a text may be folded; a sentence needs more to be read, and one among the needed
columns takes less where another of them would be left out."""
PROSE = 60
"""A cell longer than this is a sentence."""
SPARED = (
    "marked", "status", "shared_with", "session_default", "own_dof", "shared_u", "own_u", "peers",
    "label", "technology", "y_low", "y_high", "before_u", "after_u", "u", "difference_u",
    "position", "low", "high", "stimulus", "refused", "printed_in", "readings", "least_unit",
    "greatest_unit", "captures", "beyond",
)  # fmt: skip
"""Columns that a narrow table does without first; the unit's key still tells the unit."""
LAST_SPARED = (
    "assessment", "verdict", "outcome", "reason", "file", "promised", "family", "least", "greatest",
    "title", "before", "after", "value", "unit",
)  # fmt: skip
"""Columns that a table is read for, in the order in which they go when nothing else is left."""
BOUND = "bound"
"""The column that says which values are bounds."""
KEYS = ("unit_key", "query", "metric", "review_key", "review", "file")
"""Columns whose cells are typed in commands: never left out, never folded while there is room."""


@dataclass(frozen=True)
class Layout:
    """widths: of the columns shown, by name, in order. hidden: the columns left out."""

    widths: dict[str, int]
    hidden: list[str]


def laid_out(
    cells: Mapping[str, Sequence[str]],
    titles: Mapping[str, str],
    width: int,
    *,
    folded: Collection[str] = (),
    spared: Sequence[str] = (),
    needed: Sequence[str] = (),
    typed: Collection[str] | None = None,
) -> Layout:
    """The columns that fit side by side into a width.

    folded: columns of text, which may be folded. spared: columns to be left out first, after those
    that say the same in every row. needed: those to be left out last, the most needed first. typed:
    columns that stay; None for those that `KEYS` name.
    """
    room = _Room(cells, titles, width, frozenset(folded))
    stay = keys_of(cells) if typed is None else {*typed}
    same = sorted(same_in_every_row(cells), key=lambda name: any(cells[name]))
    order = [name for name in sparing_order(cells, (*same, *spared), needed) if name not in stay]
    kept = _fitting(room, list(cells), order)
    wanted = {name for name in needed if name in cells} - {*same, *spared}
    if not wanted <= {*kept}:
        narrow = _Room(cells, titles, width, frozenset(folded), frozenset(needed))
        closer = _fitting(narrow, list(cells), order)
        if len(wanted & {*closer}) > len(wanted & {*kept}):
            room, kept = narrow, closer
    shown = [name for name in cells if name in kept]
    return Layout(room.shared(shown), [name for name in cells if name not in kept])


def _fitting(room: _Room, kept: list[str], order: Sequence[str]) -> list[str]:
    """What stays of some columns when others go, in an order, until there is room."""
    gone = list[str]()
    for name in order:
        if room.holds(kept) or len(kept) == 1:
            break
        kept.remove(name)
        gone.append(name)
    for name in reversed(gone):
        # What went before a wider column may have room beside those that stayed.
        if room.holds([*kept, name]):
            kept.append(name)
    return kept


def same_in_every_row(cells: Mapping[str, Sequence[str]]) -> list[str]:
    """The columns whose cells are alike in several rows: a line says as much as they do."""
    return [name for name, texts in cells.items() if len(texts) > 1 and len({*texts}) == 1]


def keys_of(names: Collection[str]) -> set[str]:
    """The columns among some that are typed in commands.

    Beside a unit's key a review can be spared, and a metric of it beside the title, which may be
    typed as well.
    """
    spare = {"unit_key": {"review_key", "file"}, "review_key": {"file"}, "review": {"file"}}
    if "unit_key" in names:
        spare["title"] = {"metric"}
    without: set[str] = set().union(*(spare.get(name, set()) for name in names))
    return {name for name in names if name in KEYS} - without


def sparing_order(
    names: Collection[str], first: Sequence[str] = (), needed: Sequence[str] = ()
) -> list[str]:
    """The columns, those that a table can do without first.

    A value that is a bound is not read without the column that says so.
    """
    repeated = [*(["metric"] if "title" in names and "unit_key" in names else []),
                *(["outcome"] if "reason" in names else []),
                *(["review_key"] if "unit_key" in names else [])]  # fmt: skip
    others = [name for name in names if name not in LAST_SPARED]
    last = dict.fromkeys(name for name in (BOUND, *needed) if name not in first)
    order = dict.fromkeys(
        name
        for name in (*first, *SPARED, *repeated, "better", *reversed(others), *LAST_SPARED)
        if name not in last
    )
    return [name for name in (*order, *reversed(last)) if name in names]


class _Room:
    """What each column needs, and how a width is shared among some of them."""

    def __init__(
        self, cells: Mapping[str, Sequence[str]], titles: Mapping[str, str], width: int,
        folded: frozenset[str], close: frozenset[str] = frozenset(),
    ) -> None:  # fmt: skip
        """close: columns that are folded as narrow as can be read."""
        self.width = width
        heads = {name: titles.get(name, name) for name in cells}
        self.head = {name: _longest_word([head]) for name, head in heads.items()}
        self.whole_head = {name: len(head) for name, head in heads.items()}
        self.full = {name: max(map(len, texts), default=1) for name, texts in cells.items()}
        self.least = {
            name: max(self.head[name], self._least(texts, self.full[name], name in close))
            if name in folded
            else max(self.head[name], self.full[name])
            for name, texts in cells.items()
        }  # fmt: skip

    @staticmethod
    def _least(texts: Sequence[str], full: int, close: bool) -> int:
        narrow = NARROWEST_PROSE if full > PROSE else NARROWEST
        narrow = NARROWEST_NEEDED if close else narrow
        return min(full, max(narrow, min(_longest_word(texts), PROSE // 2)))

    def holds(self, names: Sequence[str]) -> bool:
        return sum(self.least[name] + GAP for name in names) - GAP + EDGE <= self.width

    def shared(self, names: Sequence[str]) -> dict[str, int]:
        """The width of each column: the least, then a share of what is left."""
        widths = {name: self.least[name] for name in names}
        left = self.width - EDGE + GAP - sum(width + GAP for width in widths.values())
        while left < 0:
            widest = max(widths, key=lambda name: widths[name])
            widths[widest] -= 1
            left += 1
        for wanted in (self.full, self.whole_head):
            left = _given(widths, wanted, left)
        return widths


def _given(widths: dict[str, int], wanted: Mapping[str, int], left: int) -> int:
    """Share what is left alike among columns that want more; what then is left.

    One endless sentence in a column takes no more than its share while others are folded.
    """
    given = dict.fromkeys(widths, 0)
    while left > 0:
        short = [name for name in widths if wanted[name] > widths[name]]
        if not short:
            break
        name = min(short, key=lambda one: given[one])
        widths[name] += 1
        given[name] += 1
        left -= 1
    return left


def _longest_word(texts: Sequence[str]) -> int:
    return max((len(word) for text in texts for word in text.split()), default=1)
