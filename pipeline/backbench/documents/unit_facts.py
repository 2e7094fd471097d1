"""One physical sample as a review describes it: facts, state, specifications."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from typing import Annotated, Literal, get_args

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from backbench.documents.kinds import unit_kinds
from backbench.documents.quantity_types import in_unit
from backbench.documents.stimuli import Hertz
from backbench.documents.strict_model import Strict
from backbench.errors import did_you_mean

KEY = re.compile(r"[a-z0-9][a-z0-9._-]{0,79}")
Text = Annotated[str, Field(min_length=1, max_length=4000)]
Year = Annotated[int, Field(ge=1900, le=2100)]

Technology = Literal["tube", "solid state", "hybrid", "switching"]
State = Literal["as received", "serviced", "restored", "modified"]
_ALSO_CALLED: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "technology": {
        "tube": ("valve", "valves", "tubes"),
        "solid state": ("ss", "s/s", "solid-state", "transistor", "transistors",
                        "bipolar", "mosfet"),
        "switching": ("class d", "class-d"),
    },
    "state": {
        "as received": ("as found", "found", "untouched", "unrestored", "original"),
        "serviced": ("service",),
        "restored": ("rebuilt", "overhauled"),
        "modified": ("modded",),
    },
}  # fmt: skip


def choices() -> dict[str, tuple[str, ...]]:
    """Facts of a unit that are one of a few words, each with its words."""
    return {
        "kind": tuple(unit_kinds()), "technology": get_args(Technology), "state": get_args(State),
    }  # fmt: skip


def also_called() -> dict[str, Mapping[str, tuple[str, ...]]]:
    """Other words of the trade for those words, by fact."""
    return {"kind": {one.name: one.also_called for one in unit_kinds().values()}, **_ALSO_CALLED}


def known_kind(value: str) -> str:
    """A kind of unit that is in force."""
    if value not in (known := unit_kinds()):
        remedy = did_you_mean(value, known, 'or declare it in backbench.toml as [kind."…"]')
        raise ValueError(f"one of {', '.join(known)} | {remedy}")
    return value


def key_of(text: str) -> str:
    """A text as a key: "Corvane R-40" gives "corvane-r-40"; empty where none can be made of it."""
    bare = unicodedata.normalize("NFKD", text.casefold()).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9._]+", "-", bare).strip("-._")[:80]


def plain_key(value: object) -> object:
    """A key is used in file names and commands: small letters, digits, dot, dash, underscore."""
    if isinstance(value, str) and not KEY.fullmatch(value):
        raise ValueError("a key of small letters, digits, '.', '-' and '_'")
    return value


def single_line(value: object) -> object:
    """Names and keys stand in tables and tool tips: no control characters."""
    if isinstance(value, str) and not value.isprintable():
        raise ValueError("text in one line without control characters")
    return value


Key = Annotated[str, BeforeValidator(plain_key)]
Name = Annotated[str, Field(min_length=1, max_length=200), BeforeValidator(single_line)]


class Price(Strict):
    amount: Annotated[float, Field(ge=0)]
    """List price when new. Example: `480`"""
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")]
    """Three capital letters. Example: `"USD"`"""
    year: Year
    """Year of that price. Example: `1961`"""


class FigureConditions(Strict):
    """Conditions under which a published or entered figure holds."""

    frequency_hz: Hertz | None = None
    """Frequency of the tone. Example: `1000`"""
    band_hz: Annotated[list[Hertz], Field(min_length=2, max_length=2)] | None = None
    """Lower and upper end of the band. Example: `[20, 20000]`"""
    power_w: Annotated[float, Field(gt=0), in_unit("W")] | None = None
    """Output power. Example: `15`"""
    load_ohm: Annotated[float, Field(gt=0), in_unit("ohm")] | None = None
    """Load resistance. Example: `8`"""
    limit_percent: Annotated[float, Field(gt=0, le=100), in_unit("%")] | None = None
    """Distortion limit of a power. Example: `1`"""


class PublishedConditions(FigureConditions):
    """Conditions under which a published figure holds."""

    weighting: Literal["A", "none"] | None = None
    """Weighting of a signal-to-noise ratio. Example: `"A"`"""
    driven: Literal["all", "one"] | None = None
    """Outputs driven at once: all, or one. Example: `"all"`"""
    supply_vrms: Annotated[float, Field(gt=0), in_unit("V")] | None = None
    """Mains voltage at the unit. Example: `230`"""


class PublishedFigure(Strict):
    """A figure that the maker promised. The limit is a number with its unit: "1 %", "15 W"."""

    metric: Name
    """A metric of METRICS.md. Example: `"thd"`"""
    at: PublishedConditions = Field(default_factory=PublishedConditions)
    """Conditions of the figure. Example: `{ frequency_hz = 1000, power_w = 15 }`"""
    at_most: Name | None = None
    """Upper limit with its unit; either this or at_least. Example: `"1 %"`"""
    at_least: Name | None = None
    """Lower limit with its unit; either this or at_most. Example: `"15 W"`"""
    printed_in: Name
    """Where the maker published it. Example: `"owner's manual"`"""

    @model_validator(mode="after")
    def one_limit(self) -> PublishedFigure:
        if (self.at_most is None) == (self.at_least is None):
            raise ValueError("either at_most or at_least")
        return self


class Unit(Strict):
    """One physical sample as it came to this review."""

    key: Key
    """Your own key of this sample. Example: `"heron-40"`"""
    maker: Name
    """Who made it. Example: `"Marrowgate"`"""
    model: Name
    """The product. Example: `"Heron 40"`"""
    serial: Name | None = None
    """Serial number. Example: `"10423"`"""
    kind: Annotated[Name, AfterValidator(known_kind)]
    """Kind of unit. Example: `"integrated amplifier"`"""
    technology: Technology
    """Technology of the output stage. Example: `"tube"`"""
    topology: Name | None = None
    """Circuit of the output stage. Example: `"push-pull"`"""
    made: Year | Annotated[list[Year], Field(min_length=2, max_length=2)] | None = None
    """Year of make, or first and last possible year. Example: `[1959, 1963]`"""
    state: State
    """Condition at this review. Example: `"serviced"`"""
    work: list[Text] = []
    """Work done before this review. Example: `["controls cleaned"]`"""
    rated_power_w: Annotated[float, Field(gt=0), in_unit("W")] | None = None
    """The maker's rated power per output. Example: `15`"""
    list_price: Price | None = None
    """List price when new. Example: `{ amount = 480, currency = "USD", year = 1961 }`"""
    notes: Text | None = None
    """Anything else about the unit."""
    listening: Text | None = None
    """What was heard of it at this review. Example: `"Hum at the seat between movements."`"""
    tags: list[Name] = []
    """Words that it is found by. Example: `["horn system", "on loan"]`"""
    published: list[PublishedFigure] = []
    """Specifications, one table each."""

    @property
    def made_range(self) -> tuple[int | None, int | None]:
        """First and last year of making."""
        if isinstance(self.made, list):
            return self.made[0], self.made[1]
        return self.made, self.made
