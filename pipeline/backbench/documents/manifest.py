"""review.toml: what was on the bench, how it was measured, which file holds what."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from backbench.documents.kinds import UNIT_KINDS, Kind
from backbench.documents.quantity_types import LOAD, in_unit
from backbench.documents.stimuli import (
    KINDS,
    Hertz,
    Idle,
    Square,
    Stimulus,
    StimulusModel,
    Strict,
    Table,
)
from backbench.documents.validation import amount, checked, measures, parse_toml, shortened
from backbench.errors import Fault, UserError
from backbench.quantities.counts import counted

MANIFEST_NAME = "review.toml"
OUTPUT = r"^[a-z0-9][a-z0-9 -]{0,39}$"
KEY = re.compile(r"[a-z0-9][a-z0-9._-]{0,79}")
Text = Annotated[str, Field(min_length=1, max_length=4000)]
Year = Annotated[int, Field(ge=1900, le=2100)]

Technology = Literal["tube", "solid state", "hybrid", "switching"]
State = Literal["as received", "serviced", "restored", "modified"]


def plain_key(value: object) -> object:
    """A key is used in file names and commands: small letters, digits, dot, dash, underscore."""
    if isinstance(value, str) and not KEY.fullmatch(value):
        raise ValueError("a key of small letters, digits, '.', '-' and '_'")
    return value


def single_line(value: object) -> object:
    """Names and keys are told in tables and tool tips: no control characters."""
    if isinstance(value, str) and not value.isprintable():
        raise ValueError("text in one line without control characters")
    return value


Key = Annotated[str, BeforeValidator(plain_key)]
Number = Annotated[float, BeforeValidator(amount)]
Name = Annotated[str, Field(min_length=1, max_length=200), BeforeValidator(single_line)]


class Price(Strict):
    amount: Annotated[float, Field(ge=0)]
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")]
    year: Year


class At(Strict):
    """The conditions that a published figure was promised under."""

    frequency_hz: Hertz | None = None
    band_hz: Annotated[list[Hertz], Field(min_length=2, max_length=2)] | None = None
    power_w: Annotated[float, Field(gt=0), in_unit("W")] | None = None
    load_ohm: Annotated[float, Field(gt=0), in_unit("ohm")] | None = None
    limit_percent: Annotated[float, Field(gt=0, le=100)] | None = None


class Published(Strict):
    """A figure that the maker promised. The limit is a number with its unit: "1 %", "15 W"."""

    metric: Name
    at: At = At()
    at_most: Name | None = None
    at_least: Name | None = None
    printed_in: Name

    @model_validator(mode="after")
    def one_limit(self) -> Published:
        if (self.at_most is None) == (self.at_least is None):
            raise ValueError("either at_most or at_least")
        return self


class Unit(Strict):
    """One physical sample as it came to this review."""

    key: Key
    maker: Name
    model: Name
    serial: Name | None = None
    kind: Kind
    technology: Technology
    topology: Name | None = None
    made: Year | Annotated[list[Year], Field(min_length=2, max_length=2)] | None = None
    state: State
    work: list[Text] = []
    rated_power_w: Annotated[float, Field(gt=0), in_unit("W")] | None = None
    list_price: Price | None = None
    notes: Text | None = None
    published: list[Published] = []

    @property
    def made_range(self) -> tuple[int | None, int | None]:
        """First and last year of making."""
        if isinstance(self.made, list):
            return self.made[0], self.made[1]
        return self.made, self.made


def inside(value: str) -> str:
    """A file's path that can't lead out of the review's folder."""
    parts = value.replace("\\", "/").split("/")
    if value.startswith(("/", "\\", "~")) or ".." in parts or ":" in parts[0]:
        raise ValueError("a path inside the review's folder")
    return value


class Photograph(Strict):
    """A picture of the units on the bench. The caption stands for it where it can't be seen."""

    file: Annotated[Name, AfterValidator(inside)]
    caption: Name


class TrackRole(Strict):
    """What a column of the file carries: an output of a unit, or the generator itself."""

    unit: Key | None = None
    output: Annotated[str, Field(pattern=OUTPUT)] | None = None
    generator: Literal[True] | None = None

    @model_validator(mode="after")
    def one_role(self) -> TrackRole:
        if (self.generator is True) == (self.output is not None):
            raise ValueError("either an output (with its unit) or generator = true")
        return self


class Conditions(Strict):
    """How a capture was taken. load_ohm may be "open"; range names the bench's input range.

    power_w: the output power that the capture was meant to have, each output; a tone that is
    far from it is refused.
    """

    load_ohm: Annotated[Annotated[float, Field(gt=0, le=1e6)] | Literal["open"] | None, LOAD] = None
    input: Name | None = None
    tap: Name | None = None
    volume: Name | None = None
    controls: Name | None = None
    range: Name | None = None
    driven: Name | None = None
    supply_vrms: Annotated[float, Field(gt=0)] | None = None
    minutes_on: Annotated[float, Field(ge=0)] | None = None
    power_w: Annotated[float, Field(gt=0), in_unit("W")] | None = None

    @property
    def load_resistance(self) -> float | None:
        """The load in ohm; None where it is open or there is none."""
        return self.load_ohm if isinstance(self.load_ohm, float) else None

    @property
    def load_kind(self) -> str | None:
        """ "resistor", "open", or None where no load was stated."""
        if self.load_ohm is None:
            return None
        return "open" if self.load_ohm == "open" else "resistor"


def by_marker(value: object) -> object:
    """The stimulus model whose marker key the table has."""
    if isinstance(value, StimulusModel) or not isinstance(value, dict):
        return value
    found = [kind for kind in KINDS if kind.marker in value]
    # A trace names the frequency of its square wave by the key that marks such a capture.
    found = [Table] if Table.marker in value and set(found) == {Table, Square} else found
    if len(found) != 1:
        markers = ", ".join(kind.marker for kind in KINDS)
        raise ValueError(f"exactly one of the keys {markers}")
    return found[0].model_validate(value)


class Capture(Strict):
    """One raw file. Its own conditions take precedence over those of the review."""

    file: Annotated[Name, AfterValidator(inside)]
    stimulus: Annotated[Any, BeforeValidator(by_marker)]
    conditions: Conditions = Conditions()
    tracks: dict[str, TrackRole] | None = None
    of: TrackRole | None = None
    loop_back: bool = False
    notes: Text | None = None

    @model_validator(mode="after")
    def typed(self) -> Capture:
        if not isinstance(self.stimulus, StimulusModel):
            raise ValueError("a stimulus table")
        is_table = isinstance(self.stimulus, Table)
        if is_table != (self.of is not None):
            raise ValueError("`of = { unit, output }` with a table, and only with a table")
        if isinstance(self.stimulus, Idle) and self.loop_back and self.conditions.driven:
            raise ValueError("a loop-back with nothing driven")
        return self


class Entered(Strict):
    """A figure typed from an old record, as it is written there: "0.08 %", "< -75 dB".

    output: of the unit, or "both" where the record doesn't tell them apart.
    uncertainty_percent: standard (k = 1), re the value, where the record tells it.
    origin: where it stands: a page, a cell of a spreadsheet.
    """

    metric: Name
    unit: Key
    output: Annotated[str, Field(pattern=OUTPUT)]
    value: Name
    at: At = At()
    order: Annotated[int, Field(ge=1, le=100)] | None = None
    uncertainty_percent: Annotated[float, Field(gt=0, le=100)] | None = None
    origin: Name


class Review(Strict):
    key: Key
    date: dt.date
    bench: Key
    mains_hz: Annotated[float, Field(ge=40, le=70)]
    title: Name | None = None
    notes: Text | None = None
    temperature_c: Annotated[float, Field(ge=-40, le=60)] | None = None


class Manifest(Strict):
    review: Review
    unit: Annotated[list[Unit], Field(min_length=1)]
    tracks: dict[str, TrackRole] = {}
    conditions: Conditions = Conditions()
    capture: list[Capture] = []
    entered: list[Entered] = []
    photograph: list[Photograph] = []

    def conditions_of(self, capture: Capture) -> Conditions:
        """The capture's conditions, completed by the review's."""
        own = capture.conditions.model_dump(exclude_unset=True)
        return Conditions(**{**self.conditions.model_dump(exclude_unset=True), **own})

    def tracks_of(self, capture: Capture) -> dict[int, TrackRole]:
        """Role of each track of a capture, by position in the file from 1."""
        if capture.of is not None:
            return {1: capture.of}
        roles = self.tracks if capture.tracks is None else capture.tracks
        return {int(position): role for position, role in sorted(roles.items())}


def read_manifest(data: bytes, name: str = MANIFEST_NAME) -> Manifest:
    """The manifest in a file's bytes. Raises UserError with every fault of the file."""
    content = measures(parse_toml(data, name))
    manifest = checked(Manifest, content, name)
    faults = [*crossed(manifest, name)]
    if faults:
        raise UserError(f"{name} has {counted(len(faults), 'fault')}", faults)
    return manifest


def crossed(manifest: Manifest, name: str) -> Iterator[Fault]:
    """Faults between parts of a manifest that are each right by themselves."""
    yield from _repeated(manifest, name)
    yield from _roles(manifest, name)
    known = {unit.key for unit in manifest.unit}
    for position, figure in enumerate(manifest.entered, start=1):
        if figure.unit not in known:
            where = f"{name}, entered {position}, unit"
            yield Fault(where, repr(figure.unit), "a unit of this review")
    for position, capture in enumerate(manifest.capture, start=1):
        yield from _capture_faults(manifest, capture, f"{name}, capture {position}")


def _repeated(manifest: Manifest, name: str) -> Iterator[Fault]:
    for what, keys in (
        ("unit", [unit.key for unit in manifest.unit]),
        ("capture", [capture.file for capture in manifest.capture]),
        ("photograph", [picture.file for picture in manifest.photograph]),
    ):
        for key in sorted({key for key in keys if keys.count(key) > 1}):
            yield Fault(f"{name}, {what}", f"{key!r} twice", "each once", "name one otherwise")


def _roles(manifest: Manifest, name: str) -> Iterator[Fault]:
    known = {unit.key for unit in manifest.unit}
    used: set[str | None] = set()
    places = [(f"{name}, tracks", manifest.tracks)]
    for n, capture in enumerate(manifest.capture, start=1):
        own = {"1": capture.of} if capture.of else capture.tracks
        places += [(f"{name}, capture {n}, tracks", own)] if own is not None else []
    for where, roles in places:
        for position, role in roles.items():
            used.add(role.unit)
            if not (position.isascii() and position.isdigit() and int(position) >= 1):
                yield Fault(where, shortened(position), "a track number from 1")
            if role.unit is not None and role.unit not in known:
                yield Fault(
                    f"{where}.{position}", f"unit {role.unit!r}", "a unit of this review",
                    f"known: {', '.join(sorted(known))}",
                )  # fmt: skip
    for unit in sorted(known - used) if manifest.capture else []:
        yield Fault(
            f"{name}, unit {unit!r}", "no track that carries it", "at least one track",
            "add it to [tracks]",
        )  # fmt: skip


def _capture_faults(manifest: Manifest, capture: Capture, where: str) -> Iterator[Fault]:
    roles = manifest.tracks_of(capture) if capture.of or _numbered(manifest, capture) else {}
    outputs = [role for role in roles.values() if role.output]
    if not outputs:
        yield Fault(where, "no output among its tracks", "at least one", "see [tracks]")
    for role in outputs:
        if role.unit is None and not capture.loop_back:
            yield Fault(where, f"output {role.output!r} of no unit", "the unit's key")
    conditions = manifest.conditions_of(capture)
    if conditions.load_ohm is None and not capture.loop_back and _wants_load(manifest, roles):
        yield Fault(
            where, "no load_ohm", 'the load in ohm, or "open"', "write it under [conditions]"
        )
    driven = conditions.driven
    if driven is not None and driven not in {role.output for role in outputs}:
        yield Fault(f"{where}, driven", repr(driven), "an output of its tracks")
    if isinstance(capture.stimulus, Table) and capture.stimulus.table == "trace":
        yield from _trace_faults(capture.stimulus, where)
    played = getattr(capture.stimulus, "reference_file", "") is not None
    if not played and not any(role.generator for role in roles.values()):
        yield Fault(
            where, "a sweep with no record of what was played",
            "a generator track or reference_file",
        )  # fmt: skip


def _trace_faults(trace: Table, where: str) -> Iterator[Fault]:
    if trace.square_hz is None:
        yield Fault(
            f"{where}, stimulus", "a trace without square_hz", "the frequency of its square wave",
            "no default is assumed",
        )  # fmt: skip


def _numbered(manifest: Manifest, capture: Capture) -> bool:
    roles = manifest.tracks if capture.tracks is None else capture.tracks
    return all(position.isascii() and position.isdigit() for position in roles)


def _wants_load(manifest: Manifest, roles: dict[int, TrackRole]) -> bool:
    units = {role.unit for role in roles.values()}
    return any(unit.key in units and UNIT_KINDS[unit.kind].by_power for unit in manifest.unit)


__all__ = ["Capture", "Conditions", "Manifest", "Stimulus", "TrackRole", "Unit", "read_manifest"]
