"""The saved map from a spreadsheet's columns to facts and readings."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from backbench.backfill.days import UnreadableDay, read_day
from backbench.documents.conditions import OUTPUT
from backbench.documents.quantity_types import in_unit
from backbench.documents.strict_model import Strict
from backbench.documents.unit_facts import FigureConditions, Key, Name
from backbench.documents.validation import checked, measures, parse_toml, read_bytes
from backbench.errors import MISSING, Fault, UserError
from backbench.metrics.metric_names import metric_key, unknown_metric

REVIEW_FACTS = ("key", "date", "bench", "mains_hz", "title", "notes")
UNIT_FACTS = (
    "key", "maker", "model", "serial", "kind", "technology", "topology", "made", "state",
    "rated_power_w", "notes",
)  # fmt: skip
EMPTY_TEXTS = ("-", "--", "–", "n/a", "N/A", "?")
"""What usually stands for "nothing here" in a sheet."""
NEEDED = ("review.date", "review.bench", "review.mains_hz", "unit.maker", "unit.model",
          "unit.kind", "unit.technology", "unit.state")  # fmt: skip


class Fact(Strict):
    """Where a fact comes from: a column, or always the same.

    words: what the column says, turned into the manifest's words ("valve" into "tube").
    """

    column: Name | None = None
    """The column that holds the fact; either this or always. Example: `"Maker"`"""
    always: str | float | None = None
    """The value for every row; either this or column. Example: `"notebook"`"""
    words: dict[str, str] = {}
    """Words of the sheet and the words of the manifest. Example: `{ valve = "tube" }`"""

    @field_validator("always", mode="before")
    @classmethod
    def day_as_text(cls, value: object) -> object:
        return value.isoformat() if isinstance(value, dt.date) else value

    @model_validator(mode="after")
    def one_source(self) -> Fact:
        if (self.column is None) == (self.always is None):
            raise ValueError("either column or always")
        return self


class ReadingColumn(Strict):
    """A column of figures of one metric. unit: of a number that has none in its cell.

    negate: where the record has the other sign (a separation written as -60 dB).
    """

    column: Name
    """The column of figures. Example: `"THD 1 W"`"""
    metric: Name
    """A metric of METRICS.md. Example: `"thd"`"""
    unit: Name | None = None
    """Unit of numbers that have none in their cell. Example: `"%"`"""
    output: Annotated[str, Field(pattern=OUTPUT)]
    """Output, or "both". Example: `"both"`"""
    at: FigureConditions = FigureConditions()
    """Conditions of the figures. Example: `{ frequency_hz = 1000, power_w = 1 }`"""
    order: Annotated[int, Field(ge=1, le=100)] | None = None
    """Order of a harmonic. Example: `2`"""
    uncertainty_percent: Annotated[float, Field(gt=0, le=100), in_unit("%")] | None = None
    """Standard uncertainty (k = 1) re the value. Example: `5`"""
    uncertainty_column: Name | None = None
    """Column of uncertainties, in the figure's unit or in per cent of it. Example: `"±"`"""
    uncertainty_coverage: Annotated[float, Field(gt=0, le=10)] | None = None
    """Coverage factor k of the sheet's uncertainties, its column's and those behind ± in a cell:
    1 where they are standard deviations, 2 where they hold 95 %. Example: `2`"""
    negate: bool = False
    """The sheet has the opposite sign, such as a separation of -60 dB. Example: `true`"""

    @model_validator(mode="after")
    def one_uncertainty(self) -> ReadingColumn:
        if self.uncertainty_column and self.uncertainty_coverage is None:
            raise ValueError("uncertainty_coverage beside uncertainty_column: 1 or 2, as a rule")
        if self.uncertainty_column and self.uncertainty_percent:
            raise ValueError("either uncertainty_column or uncertainty_percent")
        return self


class ColumnMap(Strict):
    """decimal: the mark that the record uses; told by the look of each figure where left out.

    dates: how days are written, as %d.%m.%Y; 2024-05-11 and real dates are always read.
    units: decisions on units that the catalogue may hold already; a text that stands here is not
    looked for in the catalogue again.
    empty: what stands for "nothing here".
    """

    sheet: Name | None = None
    """Sheet of the workbook; the first one by default. Example: `"Amplifiers"`"""
    header_row: Annotated[int, Field(ge=1, le=1000)] = 1
    """Row that holds the column names, the first where there are two. Example: `3`"""
    heading_rows: Annotated[int, Field(ge=1, le=2)] = 1
    """Rows of headings: 2 where one heading stands over several columns. Example: `2`"""
    decimal: Literal[".", ","] | None = None
    """Decimal mark; by default taken from the form of each figure. Example: `","`"""
    dates: list[Name] = []
    """How the sheet writes days; 2024-05-11 is always read. Example: `["%d.%m.%Y"]`"""
    empty: list[str] = list(EMPTY_TEXTS)
    """Texts that stand for an empty cell. Example: `["-", "n/a"]`"""
    units: dict[str, Key] = {}
    """Which sample a unit of the sheet is, by maker, model and serial number: the key of a unit of
    the catalogue, or a new key. Example: `{ "Marrowgate Heron 40" = "heron-40" }`"""
    review: dict[Literal["key", "date", "bench", "mains_hz", "title", "notes"], Fact]
    """Where each fact of a review comes from. Example: `date = { column = "Date" }`"""
    unit: dict[
        Literal["key", "maker", "model", "serial", "kind", "technology", "topology", "made",
                "state", "rated_power_w", "notes"], Fact
    ]  # fmt: skip
    """Where each fact of a unit comes from. Example: `maker = { column = "Maker" }`"""
    reading: Annotated[list[ReadingColumn], Field(min_length=1)]
    """One table for each column of figures."""


def read_map(path: Path) -> ColumnMap:
    """A column map from its file. Raises UserError with every fault."""
    data = read_bytes(path, "the column map")
    content = measures(parse_toml(data, str(path)))
    for name in ("header_row", "heading_rows"):
        if isinstance(content.get(name), float) and content[name].is_integer():
            content[name] = int(content[name])
    column_map = checked(ColumnMap, content, str(path), data.decode("utf-8-sig"))
    faults = [
        *_missing(column_map, path),
        *_unknown_metrics(column_map, path),
        *_no_days(column_map, path),
    ]
    if faults:
        raise UserError(f"{path} can't be used", faults)
    return _under_keys(column_map)


def _missing(column_map: ColumnMap, path: Path) -> list[Fault]:
    groups = {"review": set(map(str, column_map.review)), "unit": set(map(str, column_map.unit))}
    return [
        Fault(f"{path}, {name}", MISSING, "a column, or a value that always holds")
        for name in NEEDED
        if name.split(".")[1] not in groups[name.split(".")[0]]
    ]


def _no_days(column_map: ColumnMap, path: Path) -> list[Fault]:
    """A day that holds for every row stands there as text."""
    always = column_map.review["date"].always if "date" in column_map.review else None
    try:
        if always is not None:
            read_day(always, str(always), ())
    except UnreadableDay as error:
        return [Fault(f"{path}, review.date", str(error), 'a day as "2004-05-11"')]
    return []


def _unknown_metrics(column_map: ColumnMap, path: Path) -> list[Fault]:
    return [
        unknown_metric(f"{path}, reading {one.column!r}", one.metric)
        for one in column_map.reading
        if metric_key(one.metric) is None
    ]


def _under_keys(column_map: ColumnMap) -> ColumnMap:
    """The map with every metric under its key, however it was written."""
    readings = [
        one.model_copy(update={"metric": metric_key(one.metric)}) for one in column_map.reading
    ]
    return column_map.model_copy(update={"reading": readings})


def columns_of(column_map: ColumnMap) -> list[str]:
    """Every column that the map names."""
    facts = [*column_map.review.values(), *column_map.unit.values()]
    figures = [
        name for one in column_map.reading for name in (one.column, one.uncertainty_column) if name
    ]
    return [fact.column for fact in facts if fact.column] + figures
