"""Tables in the terminal that fit 80 columns."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping, Sequence
from contextvars import ContextVar
from typing import IO, TYPE_CHECKING, Any

from backbench.quantities import writing
from backbench.quantities.counts import counted
from backbench.quantities.writing import measured, ordinary

if TYPE_CHECKING:
    import polars as pl
    from rich.console import Console
    from rich.table import Table

    from backbench.querying.saved_queries import SavedQuery

WIDTH = 80
EVERYTHING = 10_000
FEW_ROWS = 500
_wide: ContextVar[bool] = ContextVar("wide", default=False)


def console(stream: IO[str] | None = None) -> Console:
    """A console as wide as the terminal, 80 columns where there is none and COLUMNS isn't set.

    Without colour or box drawing where it is no terminal; as wide as tables need with --wide.
    """
    from rich.console import Console

    out = stream or sys.stdout
    detected = Console(file=out, highlight=False, emoji=False, soft_wrap=False)
    is_sized = detected.is_terminal or os.environ.get("COLUMNS", "").isdigit()
    width = EVERYTHING if _wide.get() else detected.width if is_sized else WIDTH
    return Console(file=out, width=width, highlight=False, emoji=False, safe_box=True)


def set_wide(wide: bool) -> None:
    """Whether tables show every column in full, however wide the terminal is."""
    _wide.set(wide)


def table(*heads: tuple[str, str], title: str = "") -> Table:
    """An empty table; heads are pairs of text and alignment ("left" or "right")."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    made = Table(
        box=box.SIMPLE_HEAD, title=title or None, title_justify="left", title_style="bold",
        header_style="bold", pad_edge=False,
    )  # fmt: skip
    for text, side in heads:
        right = side == "right"
        made.add_column(Text(text), justify="right" if right else "left", overflow="fold")
    return made


def number(value: float | None, digits: int = 4) -> str:
    """A number with so many significant digits; nothing for none."""
    return "" if value is None else ordinary(writing.number(value, digits))


def quantity(
    value: float | None, unit: str, uncertainty: float | None = None, bound: str | None = None
) -> str:
    """A value with its expanded uncertainty (k = 2) and unit; a bound as one; nothing for none."""
    return ordinary(measured(value, uncertainty, unit, bound))


def indented(out: Console, text: str) -> None:
    from rich.padding import Padding
    from rich.text import Text

    out.print(Padding(Text(printable(text), style="dim"), (0, 0, 0, 4)))


def flowing(out: Console, text: str, style: str = "") -> None:
    from rich.text import Text

    out.print(Text(printable(text), style=style))


def printable(text: str) -> str:
    """Text with every control character as ?: names come from files and may hold any."""
    return "".join(c if c.isprintable() else "?" for c in text)


def show_queries(queries: Mapping[str, SavedQuery], stream: IO[str] | None = None) -> None:
    """Every saved query with its question and parameters."""
    from rich.text import Text

    out = console(stream)
    made = table(("Query", "left"), ("Question", "left"), ("Chart", "left"))
    for name, query in queries.items():
        parameters = ", ".join(f"{p.name}={p.default or '…'}" for p in query.parameters)
        question = query.title + (f" [{parameters}]" if parameters else "")
        made.add_row(Text(name), Text(question), Text(query.chart or ""))
    out.print(made)


def show_frame(
    frame: pl.DataFrame, query: SavedQuery | None = None, stream: IO[str] | None = None
) -> None:
    """A result as a table; columns that don't fit the terminal are named below instead of cut."""
    from rich.text import Text

    out = console(stream)
    rows = frame.head(FEW_ROWS)
    cells = {name: [_cell(value) for value in rows[name].to_list()] for name in rows.columns}
    titles = {column.name: column.heading for column in query.columns} if query else {}
    shown, hidden, widest = _fitting(cells, titles, out.width, keys=query is None)
    numeric = {name for name, kind in frame.schema.items() if kind.is_numeric()}
    made = table(
        *((titles.get(name, name), "right" if name in numeric else "left") for name in shown),
        title=query.title if query else "",
    )
    for column, name in zip(made.columns, shown, strict=True):
        column.width = _room(cells[name], titles.get(name, name), widest) - PADDING
    for row in zip(*(cells[name] for name in shown), strict=True):
        made.add_row(*(Text(cell) for cell in row))
    out.print(made)
    if query is not None and query.conditions:
        out.print(f"Conditions: {query.conditions}", markup=False)
    rows_text = f"; {query.rows}" if query is not None and query.rows else ""
    out.print(counted(frame.height, "row") + rows_text, markup=False)
    if frame.height > FEW_ROWS:
        out.print(f"the first {FEW_ROWS} are shown; --format csv lists all", markup=False)
    if query is not None and query.chart == "trend":
        _show_trend(out, frame, query)
    if hidden:
        note = f"columns not shown for lack of width: {', '.join(hidden)}; use --wide"
        out.print(note, markup=False)


def _show_trend(out: Console, frame: pl.DataFrame, query: SavedQuery) -> None:
    """The trend of y over x beneath a result that is made for one."""
    from backbench.errors import Refusal
    from backbench.statistics.trends import description_lines, of_frame

    x = query.column("x")
    step = x.unit or "year" * x.title.lower().startswith("year")
    try:
        lines = description_lines(of_frame(frame), step, query.column("y").unit)
    except Refusal as refusal:
        lines = [f"no trend: {refusal}"]
    y = query.column("y").title
    out.print(f"Trend of {y} over {x.title} (Theil-Sen slope, Spearman's rho)", markup=False)
    for line in lines:
        indented(out, line)


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return number(value)
    if isinstance(value, list):
        return ", ".join(_cell(part) for part in value)
    return printable(str(value))


SPARED = (
    "marked", "status", "label", "technology", "y_low", "y_high", "before_u", "after_u", "u",
    "difference_u", "position", "low", "high", "stimulus", "refused", "printed_in", "readings",
    "least_unit", "greatest_unit", "shared_with", "session_default", "bound", "peers",
)  # fmt: skip
"""Columns that a narrow table does without first; the unit's key still tells the unit."""
WIDTHS = (500, 80, 60, 44, 32, 22)
"""How wide a cell may be before it is folded: the widest at which all columns fit."""
PADDING = 3


LAST_SPARED = (
    "outcome", "reason", "file", "promised", "family", "least", "greatest", "title", "before",
    "after", "value", "unit",
)  # fmt: skip
"""Columns that a table is read for, in the order in which they go when nothing else is left."""


def _fitting(
    cells: Mapping[str, list[str]], titles: Mapping[str, str], width: int, *, keys: bool
) -> tuple[list[str], list[str], int]:
    """Columns that fit side by side, those left out, and how wide a cell may be.

    keys: the table lists the keys of metrics, which are to be typed; else the title tells them.
    """

    def fit(names: Sequence[str], widest: int) -> bool:
        return sum(_room(cells[n], titles.get(n, n), widest) for n in names) <= width

    narrowest, kept = WIDTHS[-1], list(cells)
    gone: list[str] = []
    for name in _sparing_order(cells, keys=keys):
        if fit(kept, narrowest) or len(kept) == 1:
            break
        kept.remove(name)
        gone.append(name)
    for name in reversed(gone):
        # What went before a wider column may have room beside those that stayed.
        if fit([*kept, name], narrowest):
            kept.append(name)
    widest = next((w for w in WIDTHS if fit(kept, w)), narrowest)
    shown = [name for name in cells if name in kept]
    return shown, [name for name in cells if name not in kept], widest


def _sparing_order(names: Mapping[str, list[str]], *, keys: bool) -> list[str]:
    """The columns, those that a table can do without first."""
    repeated = [*(["metric"] if "title" in names and not keys else []),
            *(["outcome"] if "reason" in names else []),
            *(["review_key"] if "unit_key" in names else [])]  # fmt: skip
    first = [*SPARED, *repeated, "better"]
    others = [name for name in names if name not in LAST_SPARED]
    order = dict.fromkeys((*first, *reversed(others), *LAST_SPARED))
    return [name for name in order if name in names]


def _room(texts: Sequence[str], title: str, widest: int) -> int:
    """Columns of the terminal for a table's column: its longest cell, folded where too long."""
    head = max((len(word) for word in title.split()), default=1)
    longest = max((len(text) for text in texts), default=1)
    return max(head, min(longest, widest)) + PADDING
