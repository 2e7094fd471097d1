"""The invented scenario as data: who made what, and when it stood on which bench."""

from __future__ import annotations

import csv
import datetime as dt
import io
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.settings import Settings
from backbench.documents.validation import checked, measures


@dataclass(frozen=True)
class Unit:
    """One invented sample as units.csv has it; prices in US dollars of price_year."""

    key: str
    maker: str
    model: str
    serial: str | None
    kind: str
    technology: str
    topology: str
    made: int
    made_to: int | None
    rated_power_w: float | None
    list_price_usd: float
    price_year: int
    outputs: tuple[str, ...]

    @property
    def is_preamplifier(self) -> bool:
        return self.kind == "preamplifier"


@dataclass(frozen=True)
class Review:
    """One invented session as reviews.csv has it. extras name what else was recorded; faults,
    what was wrong beyond age (`faults.py`)."""

    key: str
    date: dt.date
    bench: str
    mains_hz: float
    units: tuple[Unit, ...]
    state: str
    extras: frozenset[str]
    temperature_c: int
    work: tuple[str, ...]
    faults: tuple[str, ...] = ()
    listening: str | None = None
    tags: tuple[str, ...] = ()

    @property
    def channels(self) -> tuple[tuple[Unit, str], ...]:
        """Unit and output of each track, in the order of the tracks."""
        return tuple((unit, output) for unit in self.units for output in unit.outputs)

    @property
    def is_pair(self) -> bool:
        return len(self.units) > 1

    @property
    def is_as_tuner(self) -> bool:
        """Whether a receiver stood on the bench as a tuner."""
        return "as-tuner" in self.extras

    @property
    def is_typed(self) -> bool:
        """Whether its recordings are gone, and figures were typed from a notebook."""
        return "typed" in self.extras


@dataclass(frozen=True)
class Scenario:
    """All units, all reviews in order of date, and the settings that they were taken under."""

    units: tuple[Unit, ...]
    reviews: tuple[Review, ...]
    settings: Settings

    def review(self, key: str) -> Review:
        """The review of that key. Raises KeyError where there is none."""
        for review in self.reviews:
            if review.key == key:
                return review
        raise KeyError(key)


def settings_text() -> str:
    """The text of the scenario's backbench.toml."""
    return _text("settings.toml")


@cache
def scenario() -> Scenario:
    """The scenario that is checked in beside this module."""
    units = {row["key"]: _unit(row) for row in _rows("units.csv")}
    reviews = sorted((_review(row, units) for row in _rows("reviews.csv")), key=lambda r: r.date)
    content = measures(tomllib.loads(settings_text()))
    return Scenario(
        tuple(units.values()), tuple(reviews), checked(Settings, content, SETTINGS_NAME)
    )


def _text(name: str) -> str:
    return resources.files("backbench.seed_dataset").joinpath(name).read_text(encoding="utf-8")


def _rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(_text(name))))


def _unit(row: dict[str, str]) -> Unit:
    return Unit(
        key=row["key"],
        maker=row["maker"],
        model=row["model"],
        serial=row["serial"] or None,
        kind=row["kind"],
        technology=row["technology"],
        topology=row["topology"],
        made=int(row["made"]),
        made_to=int(row["made_to"]) if row["made_to"] else None,
        rated_power_w=float(row["rated_power_w"]) if row["rated_power_w"] else None,
        list_price_usd=float(row["list_price_usd"]),
        price_year=int(row["price_year"]),
        outputs=tuple(row["outputs"].split()),
    )


def _review(row: dict[str, str], units: dict[str, Unit]) -> Review:
    return Review(
        key=row["key"],
        date=dt.date.fromisoformat(row["date"]),
        bench=row["bench"],
        mains_hz=float(row["mains_hz"]),
        units=tuple(units[key] for key in row["units"].split()),
        state=row["state"],
        extras=frozenset(row["extras"].split()),
        temperature_c=int(row["temperature_c"]),
        work=tuple(part for part in row["work"].split("|") if part),
        faults=tuple(row["faults"].split()),
        listening=row["listening"] or None,
        tags=tuple(part for part in row["tags"].split("|") if part),
    )
