"""Saved queries: questions kept as SQL files, run with bound parameters on a read-only store."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from backbench.documents.regular_files import read_regular
from backbench.documents.validation import shortened
from backbench.errors import Fault, UserError
from backbench.quantities.counts import counted
from backbench.quantities.writing import exact
from backbench.querying.own_quantity_queries import MADE_FROM, own_quantity_queries
from backbench.querying.parameter_values import parameter_value
from backbench.querying.query_header import PLACE, Parameter, ResultColumn, read_header, split
from backbench.storage.database import Database, StatementError
from backbench.storage.light_rows import LightRows

if TYPE_CHECKING:
    import polars as pl

MAX_BYTES = 200_000
Result = TypeVar("Result", bound="LightRows | pl.DataFrame")


@dataclass(frozen=True)
class SavedQuery:
    """One question: its header and its statement.

    grain: the columns whose values together are unique in the result.
    rows: what one row stands for, "one row per unit"; "" where the header doesn't say it.
    metrics: those that the answer rests on; none where the header names none.
    needed: columns that a narrow table shows before any other, the most needed first.
    chart: name of the chart that draws the result; None for a table only.
    conditions: what stands under the heading, {name} for the value of a parameter.
    begins: the line of the file that the statement begins on.
    """

    name: str
    title: str
    question: str
    conditions: str
    grain: tuple[str, ...]
    rows: str
    parameters: tuple[Parameter, ...]
    columns: tuple[ResultColumn, ...]
    metrics: tuple[str, ...]
    needed: tuple[str, ...]
    chart: str | None
    chart_options: Mapping[str, str]
    sql: str
    file: str
    begins: int = 1

    def column(self, name: str) -> ResultColumn:
        """A declared column. Raises KeyError."""
        return {column.name: column for column in self.columns}[name]

    def bound(self, values: Mapping[str, str]) -> dict[str, object]:
        """Values by declared type, defaults filled in. Raises UserError with every fault."""
        known = {parameter.name: parameter for parameter in self.parameters}
        faults = [self._unknown(name, known) for name in values if name not in known]
        bound_values: dict[str, object] = {}
        for name, parameter in known.items():
            text = values.get(name, parameter.default)
            try:
                bound_values[name] = parameter_value(name, parameter.type, text)
            except ValueError as error:
                faults.append(Fault(f"{self.name}, {name}", shortened(text), str(error)))
        if faults:
            raise UserError(f"{self.name} can't be run", faults)
        return bound_values

    def conditions_text(
        self, values: Mapping[str, str] | None = None, titles: Mapping[str, str] | None = None
    ) -> str:
        """The conditions with the parameters' values; titles: what their keys are called.

        A part (up to a semicolon) whose parameter is empty is left out.
        """
        texts = {p.name: _in_words(p, (values or {}).get(p.name, p.default))
                 for p in self.parameters}  # fmt: skip
        shown = {name: (titles or {}).get(text, text) for name, text in texts.items()}
        parts = (part.strip() for part in self.conditions.split(";"))
        kept = [p for p in parts if all(shown.get(name) for name in PLACE.findall(p))]
        return "; ".join(PLACE.sub(lambda match: shown[match[1]], part) for part in kept)

    def run(self, store: Database, values: Mapping[str, str] | None = None) -> pl.DataFrame:
        """The result, columns as declared. `store` should come from `store.reading`.

        Raises UserError for unknown or wrong values, for a statement that DuckDB refuses, and
        where the result's columns aren't those declared.
        """
        return self._run(store, store.frame, values or {})

    def answer(
        self, store: Database, values: Mapping[str, str] | None = None
    ) -> LightRows | pl.DataFrame:
        """The result as a table in the terminal needs it. Raises UserError as `run` does."""
        if self.chart == "trend":  # with the trend beneath it, which is worked out from a frame
            return self.run(store, values)
        return self._run(store, store.answer, values or {})

    def _run(
        self, store: Database, fetch: Callable[[str, dict[str, object]], Result],
        given: Mapping[str, str],
    ) -> Result:  # fmt: skip
        parameters = self.bound(given)
        self._check_keys(store, {name: str(parameters[name]) for name in given})
        try:
            result = fetch(self.sql, parameters)
        except StatementError as error:
            fault = Fault(
                self._place(str(error)), str(error).splitlines()[0], "a statement that runs"
            )
            raise UserError(f"{self.name} can't be run", [fault]) from None
        declared = [column.name for column in self.columns]
        if result.columns != declared:
            fault = Fault(
                self.file, f"the columns {', '.join(result.columns)}",
                f"those declared: {', '.join(declared)}",
                "correct the SELECT, or the lines -- column NAME: UNIT; Title",
            )  # fmt: skip
            raise UserError(f"{self.name} gives other columns than it declares", [fault])
        return result

    def _place(self, message: str) -> str:
        """The file, with the line of it that the database's message names."""
        named = re.search(r"^LINE (\d+):", message, re.MULTILINE)
        return f"{self.file}, line {self.begins + int(named[1]) - 1}" if named else self.file

    def _unknown(self, name: str, known: Iterable[str]) -> Fault:
        names = ", ".join(known) or "none"
        return Fault(f"{self.name}, {name}", "no such parameter", f"one of: {names}")

    def _check_keys(self, store: Database, values: Mapping[str, str]) -> None:
        """Values that name something in the catalogue must name something that is there."""
        faults = []
        for parameter in self.parameters:
            text = values.get(parameter.name, "")
            if (
                text
                and parameter.type in KEYS
                and not store.rows(IS_KEY[parameter.type], {"key": text})
            ):
                known = [str(key) for (key,) in store.rows(KEYS[parameter.type])]
                where = f"{self.name}, {parameter.name}"
                faults.append(not_found(where, text, known, parameter.type))
        if faults:
            raise UserError(f"{self.name} can't be run", faults)


KEYS = {
    "unit": "SELECT DISTINCT unit_key FROM appearance ORDER BY ALL",
    "metric": "SELECT metric FROM metric ORDER BY ALL",
    "technology": "SELECT DISTINCT technology FROM appearance ORDER BY ALL",
    "point": "SELECT point_key FROM test_point ORDER BY ALL",
}
IS_KEY = {
    "unit": "SELECT true FROM appearance WHERE unit_key = $key LIMIT 1",
    "metric": "SELECT true FROM metric WHERE metric = $key LIMIT 1",
    "technology": "SELECT true FROM appearance WHERE technology = $key LIMIT 1",
    "point": "SELECT true FROM test_point WHERE point_key = $key LIMIT 1",
}
"""A row where there is such a key: of many thousand, it takes longer to hand over all."""


def not_found(where: str, text: str, known: Sequence[str], what: str) -> Fault:
    """A key that the catalogue doesn't have, with those that are near."""
    near = difflib.get_close_matches(text, known, n=3, cutoff=0.4)
    near += [key for key in known if text in key and key not in near][: 3 - len(near)]
    remedy = f"near: {', '.join(near)}" if near else ""
    return Fault(where, shortened(text), f"a {what} of the catalogue", remedy)


def _in_words(parameter: Parameter, text: str) -> str:
    """A parameter's value as the conditions state it: a number without its unit."""
    if parameter.type != "number":
        return text
    try:
        value = parameter_value(parameter.name, parameter.type, text)
    except ValueError:
        return text
    return exact(value, "1") if isinstance(value, int | float) else text


def parse(text: str, name: str, file: str) -> tuple[SavedQuery, list[Fault]]:
    """The query in a file's text, with everything wrong with it."""
    header, faults = read_header(text, file)
    query = SavedQuery(
        name=name,
        title=header.title,
        question=header.question,
        conditions=header.conditions,
        grain=header.grain,
        rows=header.rows,
        parameters=tuple(header.parameters),
        columns=tuple(header.columns),
        metrics=header.metrics,
        needed=header.needed,
        chart=header.chart,
        chart_options=header.chart_options,
        sql=split(text)[1].strip().removesuffix(";"),
        file=file,
        begins=_line_of(text, split(text)[1].strip()),
    )
    if not faults:
        faults = _defaults(query, text)
    return query, faults


def _defaults(query: SavedQuery, text: str) -> list[Fault]:
    """A fault for each default that its own type doesn't take, with its line."""
    faults: list[Fault] = []
    for parameter in query.parameters:
        try:
            parameter_value(parameter.name, parameter.type, parameter.default)
        except ValueError as error:
            line = _line_of(text, f"parameter {parameter.name}:")
            found = f"the default {shortened(parameter.default)} of {parameter.name!r}"
            faults.append(
                Fault(f"{query.file}, line {line}", found, str(error), "correct the default")
            )
    return faults


def _line_of(text: str, part: str) -> int:
    """The line on which a part of a text begins; the first where it is empty."""
    return text.count("\n", 0, text.find(part)) + 1 if part else 1


def load(folders: Sequence[Path]) -> dict[str, SavedQuery]:
    """The queries of all folders by name (the file's name without .sql).

    A folder that isn't there holds none. Raises UserError with every fault of every file, and
    where two files give one name.
    """
    return _load([QueryFolder(str(folder), folder) for folder in folders])


def shipped() -> dict[str, SavedQuery]:
    """The queries that come with the program, by name."""
    return dict(_shipped())


@cache
def _shipped() -> dict[str, SavedQuery]:
    return _load([SHIPPED])


@cache
def shipped_names() -> frozenset[str]:
    """Names of the queries that come with the program, without reading them."""
    names = (file.name for file in SHIPPED.folder.iterdir())
    return frozenset(name.removesuffix(".sql") for name in names if name.endswith(".sql"))


@cache
def one_shipped(name: str) -> SavedQuery:
    """One of those that come with the program, without reading the others."""
    path = SHIPPED.folder / f"{name}.sql"
    query, faults = parse(_text(path, path.name), name, f"{SHIPPED.label}/{path.name}")
    if faults:
        raise UserError(f"the saved query {name} can't be used", faults)
    return query


Check = Callable[[SavedQuery], Sequence[Fault]]
"""What else may be wrong with a query of one's own, which this floor can't know."""


def available(folder: Path, check: Check | None = None) -> dict[str, SavedQuery]:
    """Shipped queries, one for each own quantity in force, and the sound ones of a catalogue's
    folder `queries`, by name."""
    return dict(sorted({**_of_quantities(), **shipped(), **_own(folder, check)[0]}.items()))


def _of_quantities() -> dict[str, SavedQuery]:
    """One that ranks units in each of the reviewer's own quantities."""
    made = (parse(text, name, MADE_FROM)[0] for name, text in own_quantity_queries())
    return {query.name: query for query in made}


def faulty(folder: Path, check: Check | None = None) -> dict[str, tuple[Fault, ...]]:
    """The queries of a catalogue's folder that can't be used, each with everything wrong with it.

    A faulty query fails alone: the others are available.
    """
    return _own(folder, check)[1]


def left_out_lines(wrong: Mapping[str, Sequence[Fault]]) -> list[str]:
    """A line for each faulty query, with everything wrong with it."""
    return [
        f"query {name} is left out: {'; '.join(map(str, faults))}" for name, faults in wrong.items()
    ]


def _own(
    folder: Path, check: Check | None
) -> tuple[dict[str, SavedQuery], dict[str, tuple[Fault, ...]]]:
    """The queries of a catalogue's own folder: sound ones, and the faults of the others."""
    queries, wrong = _read([QueryFolder("queries", folder / "queries")], shipped())
    for name, query in queries.items():
        if check and (faults := check(query)):
            wrong[name] = tuple(faults)
    return {name: query for name, query in queries.items() if name not in wrong}, wrong


@dataclass(frozen=True)
class QueryFolder:
    """A folder with queries, and what messages call it."""

    label: str
    folder: Traversable


SHIPPED = QueryFolder("queries shipped", resources.files("backbench.queries"))


def _load(places: Sequence[QueryFolder]) -> dict[str, SavedQuery]:
    queries, wrong = _read(places, {})
    faults = [fault for own in wrong.values() for fault in own]
    if faults:
        raise UserError(f"the saved queries have {counted(len(faults), 'fault')}", faults)
    return dict(sorted(queries.items()))


def _read(
    places: Sequence[QueryFolder], before: Mapping[str, SavedQuery]
) -> tuple[dict[str, SavedQuery], dict[str, tuple[Fault, ...]]]:
    """The sound queries by name, and the faults of the others. before: names that are taken."""
    queries: dict[str, SavedQuery] = {}
    wrong: dict[str, tuple[Fault, ...]] = {}
    for place in places:
        files = list(place.folder.iterdir()) if place.folder.is_dir() else []
        for path in sorted((f for f in files if f.name.endswith(".sql")), key=lambda f: f.name):
            name, file = path.name.removesuffix(".sql"), f"{place.label}/{path.name}"
            taken = queries.get(name) or before.get(name)
            if taken is not None:
                wrong[name] = (Fault(file, f"the name of {taken.file}", "a name of its own"),)
                continue
            try:
                query, faults = parse(_text(path, file), name, file)
            except UserError as error:
                wrong[name] = error.faults
                continue
            if faults:
                wrong[name] = tuple(faults)
            else:
                queries[name] = query
    return queries, wrong


def _text(path: Traversable, file: str) -> str:
    """Raises UserError where it can't be read."""
    try:
        data = read_regular(path, MAX_BYTES) if isinstance(path, Path) else path.read_bytes()
        return data.decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        fault = Fault(file, str(error), "a text file in UTF-8")
        raise UserError("the saved query can't be read", [fault]) from None
