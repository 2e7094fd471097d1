"""Tables in the terminal, as wide as it is."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Collection, Mapping, Sequence
from contextvars import ContextVar
from typing import IO, TYPE_CHECKING, Any

from backbench.quantities import writing
from backbench.quantities.counts import counted
from backbench.quantities.writing import measured, ordinary
from backbench.reports.column_widths import Layout, laid_out, same_in_every_row
from backbench.reports.result_cells import printable, result_cells
from backbench.storage.light_rows import LightRows

if TYPE_CHECKING:
    import polars as pl
    from rich.console import Console
    from rich.table import Table

    from backbench.querying.saved_queries import SavedQuery

WIDTH = 80
EVERYTHING = 10_000
FEW_ROWS = 500
AROUND = 10
"""Lines of a screen for headings, counts and what comes next."""
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


def screen_rows() -> int:
    """How many rows of a table a screen holds beside what stands around it."""
    return max(shutil.get_terminal_size().lines - AROUND, 1)


def set_wide(wide: bool) -> None:
    """Whether tables show every column in full, however wide the terminal is."""
    _wide.set(wide)


def show_table(
    out: Console, heads: Sequence[tuple[str, str]], rows: Sequence[Sequence[str]],
    title: str = "", spared: Sequence[str] = (),
) -> None:  # fmt: skip
    """Print a table in the width there is, and name the columns that are left out for it.

    heads: pairs of text and alignment, "left" for text, "right" for numbers. The first column
    stays; spared: heads of those that a narrow table does without, before any other.
    """
    names = [text for text, _ in heads]
    shown = [[printable(cell) for cell in row] for row in rows]
    cells = {name: [row[n] for row in shown] for n, name in enumerate(names)}
    left = {text for text, side in heads if side == "left"}
    layout = laid_out(cells, {}, out.width, folded=left, spared=spared, typed=names[:1])
    out.print(_table(cells, {}, layout, left, title))
    _name_hidden(out, layout, cells, {})


def _table(
    cells: Mapping[str, Sequence[str]], titles: Mapping[str, str], layout: Layout,
    left: Collection[str], title: str,
) -> Table:  # fmt: skip
    """The columns of a layout as a table; left: those of text."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    made = Table(
        box=box.SIMPLE_HEAD, title=title or None, title_justify="left", title_style="bold",
        header_style="bold", pad_edge=False, padding=(0, 1, 0, 0),
    )  # fmt: skip
    for name, width in layout.widths.items():
        side: Any = "left" if name in left else "right"
        made.add_column(Text(titles.get(name, name)), justify=side, overflow="fold", width=width)
    for row in zip(*(cells[name] for name in layout.widths), strict=True):
        made.add_row(*(Text(cell) for cell in row))
    return made


def _name_hidden(
    out: Console, layout: Layout, cells: Mapping[str, Sequence[str]], titles: Mapping[str, str]
) -> None:
    """What the columns without room say, where it is the same in every row; else their heads."""
    same = same_in_every_row({name: cells[name] for name in layout.hidden})
    heads = {name: titles.get(name, name) for name in layout.hidden}
    empty = [heads[name] for name in same if not cells[name][0]]
    said = [f"{heads[name]}: {cells[name][0]}" for name in same if cells[name][0]]
    hidden = dict.fromkeys(head for name, head in heads.items() if name not in same)
    for note in (
        f"without an entry in any row shown: {', '.join(empty)}" * bool(empty),
        f"the same in every row shown: {'; '.join(said)}" * bool(said),
        f"columns not shown for lack of width: {', '.join(hidden)}; use --wide" * bool(hidden),
    ):
        if note:
            out.print(note, markup=False)


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

    out.print(Padding(Text(printable(text), style="dim"), (0, 0, 0, 4), expand=False))


def listed(out: Console, text: str) -> None:
    """One line of a list, its other lines beneath its beginning."""
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    row = Table.grid(padding=(0, 1, 0, 0))
    row.add_row("-", Text(printable(text)))
    out.print(Padding(row, (0, 0, 0, 2), expand=False))


def flowing(out: Console, text: str, style: str = "") -> None:
    from rich.text import Text

    out.print(Text(printable(text), style=style))


def show_queries(queries: Mapping[str, SavedQuery], stream: IO[str] | None = None) -> None:
    """Every saved query with its question and parameters."""
    rows = []
    for name, query in queries.items():
        parameters = ", ".join(f"{p.name}={p.default or '…'}" for p in query.parameters)
        question = query.title + (f" [{parameters}]" if parameters else "")
        rows.append((name, question, query.chart or ""))
    heads = (("Query", "left"), ("Question", "left"), ("Chart", "left"))
    show_table(console(stream), heads, rows)


def show_frame(
    frame: LightRows | pl.DataFrame, query: SavedQuery | None = None, stream: IO[str] | None = None,
    needed: Sequence[str] = (),
) -> None:  # fmt: skip
    """A result as a table; columns that don't fit the terminal are named below instead of cut.

    needed: columns that a narrow terminal shows before any other; a query's header names its own.
    """
    out = console(stream)
    few = (
        frame.first(FEW_ROWS)
        if isinstance(frame, LightRows)
        else LightRows.of(frame.head(FEW_ROWS))
    )
    result = result_cells(few, query)
    layout = laid_out(
        result.cells, result.titles, out.width, folded=result.folded,
        needed=needed or result.needed,
    )  # fmt: skip
    title = query.title if query else ""
    out.print(_table(result.cells, result.titles, layout, result.left, title))
    if query is not None and query.conditions:
        out.print(f"Conditions: {query.conditions}", markup=False)
    rows_text = f"; {query.rows}" if query is not None and query.rows else ""
    out.print(counted(frame.height, "row") + rows_text, markup=False)
    if frame.height > FEW_ROWS:
        out.print(f"the first {FEW_ROWS} are shown; --format csv lists all", markup=False)
    if query is not None and query.chart == "trend" and not isinstance(frame, LightRows):
        _show_trend(out, frame, query)
    _name_hidden(out, layout, result.cells, result.titles)


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
