"""A column of a table as a manifest declares it."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from backbench.documents.strict_model import Strict


class TableColumn(Strict):
    """A column of a table: its heading or its number in the file, and the unit of its values.

    In place of a column that the file doesn't have, `start` and `increment` state the first row's
    value and the distance of the rows. Values are multiplied by `factor`, then `offset` is added,
    in `unit`. The limits of the instrument's error are stated as its data sheet has them, of the
    values as written; where one is stated, an uncertainty within the cells (`0.9 ± 0.05`) isn't
    used.
    """

    name: Annotated[str, Field(min_length=1)] | None = None
    """Heading of the column in the file. Example: `"Freq"`"""
    number: Annotated[int, Field(ge=1, le=10_000)] | None = None
    """Number of the column in the file, from 1, in place of its heading. Behind the last one the
    parts of complex cells count as columns of their own. Example: `2`"""
    start: Annotated[float, Field(ge=-1e12, le=1e12)] | None = None
    """Value of the first row, in `unit`, where no column holds the values. Example: `-0.001`"""
    increment: Annotated[float, Field(gt=0, le=1e12)] | None = None
    """Distance from each row to the next, in `unit`, with `start`. Example: `0.000004`"""
    unit: Annotated[str, Field(min_length=1)]
    """Unit of its values. Example: `"Hz"`"""
    factor: Annotated[float, Field(ge=-1e9, le=1e9)] | None = None
    """What its values are multiplied by: 10 for a divider of 10. Example: `10`"""
    offset: Annotated[float, Field(ge=-1e9, le=1e9)] | None = None
    """What is added to its values, in `unit`. Example: `-0.02`"""
    percent_of_reading: Annotated[float, Field(ge=0, le=100)] | None = None
    """Limit of the instrument's error, % of the reading. Example: `0.5`"""
    percent_of_range: Annotated[float, Field(ge=0, le=100)] | None = None
    """Limit of the instrument's error, % of its range. Example: `0.1`"""
    range: Annotated[float, Field(gt=0, le=1e12)] | None = None
    """The range that `percent_of_range` is of, in `unit`. Example: `20`"""
    last_digits: Annotated[float, Field(ge=0, le=1000)] | None = None
    """Limit of the instrument's error, in units of the last digit written. Example: `3`"""
    decibels: Annotated[float, Field(ge=0, le=40)] | None = None
    """Limit of the instrument's error, dB. Example: `0.1`"""

    @model_validator(mode="after")
    def one_place(self) -> TableColumn:
        if (self.start is None) != (self.increment is None):
            raise ValueError("start and increment belong together")
        places = (self.name, self.number, self.increment)
        if sum(place is not None for place in places) != 1:
            raise ValueError("a column has either a name, a number, or a start and an increment")
        if self.counted and self.model_fields_set - {"start", "increment", "unit"}:
            raise ValueError("a start and an increment take nothing but their unit")
        if self.factor == 0:
            raise ValueError("a factor of 0 leaves no value")
        if (self.range is None) != (self.percent_of_range is None):
            raise ValueError("range and percent_of_range belong together")
        return self

    @property
    def counted(self) -> bool:
        """Whether the values follow from the number of the row alone."""
        return self.increment is not None

    @property
    def label(self) -> str:
        """How messages name the column."""
        if self.counted:
            return "start and increment"
        return self.name if self.name is not None else f"{self.number}"
