"""Where each declared column stands among the headings of a file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.documents.validation import shortened
from backbench.errors import Fault, UserError, did_you_mean
from backbench.quantities.units import spelled_unit
from backbench.readers.text_layout import Heading
from backbench.readers.unused_parts import unused_parts


def located(
    columns: Mapping[str, TableColumn], headings: Sequence[Heading], name: str
) -> dict[str, int]:
    """The position of each declared column of the file, from 0.

    A heading is looked for as it stands, then whatever its case and spaces, then without its unit.
    Raises UserError for columns that are not there or more than once, and for a heading whose unit
    is not the declared one: every fault at once.
    """
    places: dict[str, int] = {}
    faults: list[Fault] = []
    for key, column in columns.items():
        if column.counted:
            continue
        hits = _hits(column, headings)
        if len(hits) != 1:
            faults.append(_not_one(column, len(hits), headings, name))
            continue
        places[key] = hits[0]
        stated = headings[hits[0]].unit
        if stated and spelled_unit(stated) != spelled_unit(column.unit):
            faults.append(
                Fault(
                    f"{name}, column {key}",
                    f"the unit {stated!r} in the heading {headings[hits[0]].text!r}",
                    f"the declared unit {column.unit!r}",
                    "declare the unit that the values have",
                )
            )
    if faults:
        raise UserError(f"{name} can't be read", faults)
    return places


def unused(headings: Sequence[Heading], places: Mapping[str, int], table: Table) -> str | None:
    """A remark that names the columns of a trace which nothing declares; None where none is."""
    if table.table != "trace":
        return None
    rest = [
        heading.text for k, heading in enumerate(headings)
        if heading.text and k not in places.values()
    ]  # fmt: skip
    return unused_parts("column", rest, "not declared here")


def _hits(column: TableColumn, headings: Sequence[Heading]) -> list[int]:
    if column.number is not None:
        return [column.number - 1] if column.number <= len(headings) else []
    assert column.name is not None
    wanted = column.name
    for matches in (
        [heading.text == wanted for heading in headings],
        [_plain(heading.text) == _plain(wanted) for heading in headings],
        [bool(heading.name) and _plain(heading.name) == _plain(wanted) for heading in headings],
    ):
        hits = [k for k, match in enumerate(matches) if match]
        if hits:
            return hits
    return []


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def _not_one(column: TableColumn, hits: int, headings: Sequence[Heading], name: str) -> Fault:
    if column.number is not None:
        problem, expected = f"{len(headings)} columns", f"a column {column.number}"
    else:
        problem = f"{column.name!r} {hits} times" if hits else f"no column {column.name!r}"
        expected = "each declared column once"
    there = [heading.text for heading in headings if heading.text]
    remedy = f"the file has no headings: declare the number of the column, 1 to {len(headings)}"
    if there:
        near = did_you_mean(column.name or "", there)
        remedy = f"{near} Columns there: " if near else "columns there: "
        remedy += shortened(", ".join(there), 200)
    return Fault(name, problem, expected, remedy)
