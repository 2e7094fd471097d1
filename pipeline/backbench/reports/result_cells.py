"""The cells of a result as a table in the terminal shows them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from backbench.quantities.writing import number, ordinary, quantity, value_alone
from backbench.reports.column_widths import keys_of

if TYPE_CHECKING:
    from backbench.querying.saved_queries import SavedQuery
    from backbench.storage.light_rows import LightRows

DIGITS, UNCERTAINTY_DIGITS = 4, 2


@dataclass(frozen=True)
class ResultCells:
    """Texts by column, in order, with the columns' titles.

    left: columns of text. folded: those of them that may be folded. needed: columns that a narrow
    table leaves out last, the most needed first.
    """

    cells: dict[str, list[str]]
    titles: dict[str, str]
    left: set[str]
    folded: set[str]
    needed: tuple[str, ...]


def result_cells(answer: LightRows, query: SavedQuery | None = None) -> ResultCells:
    """Every column of a result; where the rows have units of their own, each value with its unit.

    The column of units is left out where every value beside it carries it.
    """
    declared = {column.name: column for column in query.columns} if query else {}
    titles = {name: column.heading for name, column in declared.items()}
    units = {name: c.unit_column for name, c in declared.items() if c.unit_column}
    names = [name for name in answer.columns if name not in units.values()]
    cells = {
        name: _with_units(answer, name, units[name]) if name in units
        else [cell(value) for value in answer.values(name)]
        for name in names
    }  # fmt: skip
    left = {name for name in names if answer.kinds[name] != "number"}
    folded = {name for name in left - keys_of(cells) if answer.kinds[name] != "day or time"}
    return ResultCells(cells, titles, left, folded, _needed(query) if query else ())


def _needed(query: SavedQuery) -> tuple[str, ...]:
    """The columns that the header names, then those that tell the rows apart.

    A metric's title, where there is one, tells as much as its key.
    """
    titled = any(column.name == "title" for column in query.columns)
    apart = [name for name in query.grain if not (titled and name == "metric")]
    return tuple(dict.fromkeys((*query.needed, *apart)))


def _with_units(answer: LightRows, name: str, unit_column: str) -> list[str]:
    """Values with the units of their rows, to the digits that their uncertainty allows."""
    values, units = answer.values(name), answer.values(unit_column)
    spread = next((one for one in _uncertainties_of(name) if one in answer.kinds), None)
    spreads = answer.values(spread) if spread else [None] * len(values)
    digits = UNCERTAINTY_DIGITS if _is_uncertainty(name) else DIGITS
    return [
        _with_unit(value, str(unit or ""), u, digits)
        for value, unit, u in zip(values, units, spreads, strict=True)
    ]


def _with_unit(value: Any, unit: str, uncertainty: Any, digits: int) -> str:
    """One value; what is no finite number is shown as it is."""
    if not _is_number(value):
        return cell(value)
    if _is_number(uncertainty) and uncertainty > 0:
        return printable(ordinary(value_alone(float(value), float(uncertainty), unit)))
    return printable(ordinary(quantity(float(value), unit, digits)))


def _is_number(value: Any) -> bool:
    is_one = isinstance(value, int | float | Decimal) and not isinstance(value, bool)
    return is_one and math.isfinite(value)


def _uncertainties_of(name: str) -> tuple[str, ...]:
    """What the column with a column's standard uncertainty may be called."""
    return (f"{name}_u", *(("u", "uncertainty") if name == "value" else ()))


def _is_uncertainty(name: str) -> bool:
    return name.endswith("_u") or name in ("u", "uncertainty")


def cell(value: Any) -> str:
    """A value as a cell shows it; nothing for none."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return ordinary(number(value, DIGITS))
    if isinstance(value, list):
        return ", ".join(cell(part) for part in value)
    return printable(str(value))


def printable(text: str) -> str:
    """Text with every control character as ?: names come from files and may hold any."""
    return "".join(c if c.isprintable() else "?" for c in text)
