"""review.toml: what was on the bench, how it was measured, which file holds what."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from backbench.documents.contradictions import band_faults, track_faults, unit_faults
from backbench.documents.kinds import UNIT_KINDS
from backbench.documents.quantity_types import LOAD, in_unit
from backbench.documents.stimuli import (
    KINDS,
    Idle,
    SquareWave,
    Stimulus,
    StimulusModel,
    Strict,
    Table,
)
from backbench.documents.unit_facts import FigureConditions, Key, Name, Text, Unit
from backbench.documents.validation import checked, measures, parse_toml, shortened
from backbench.errors import Fault, UserError
from backbench.quantities.counts import counted

MANIFEST_NAME = "review.toml"
OUTPUT = r"^[a-z0-9][a-z0-9 -]{0,39}$"


def inside(value: str) -> str:
    """A file's path that can't lead out of the review's folder."""
    parts = value.replace("\\", "/").split("/")
    if value.startswith(("/", "\\", "~")) or ".." in parts or ":" in parts[0]:
        raise ValueError("a path inside the review's folder")
    return value


class Photograph(Strict):
    """A picture of the units on the bench. The caption stands for it where it can't be seen."""

    file: Annotated[Name, AfterValidator(inside)]
    """PNG or JPEG in the review's folder. Example: `"front.jpg"`"""
    caption: Name
    """Text shown with the picture, and in place of it. Example: `"The front"`"""


class TrackRole(Strict):
    """What a column of the file carries: an output of a unit, the current through the load of one,
    or the generator itself."""

    unit: Key | None = None
    """Key of the unit that the track carries. Example: `"heron-40"`"""
    output: Annotated[str, Field(pattern=OUTPUT)] | None = None
    """Output of that unit. Example: `"left"`"""
    generator: Literal[True] | None = None
    """The track carries the generator's signal instead. Example: `true`"""
    current: Annotated[str, Field(pattern=OUTPUT)] | None = None
    """The track carries the current through the load of that output (of the unit named beside it)
    instead: the load is held against the stated one. Example: `"left"`"""
    volts_per_ampere: Annotated[float, Field(gt=0)] | None = None
    """What the current probe, or the resistor that is measured across, gives; with `current`.
    Example: `0.1`"""

    @model_validator(mode="after")
    def one_role(self) -> TrackRole:
        given = [self.generator is True, self.output is not None, self.current is not None]
        if sum(given) != 1:
            raise ValueError("either an output (with its unit), a current, or generator = true")
        if (self.current is None) != (self.volts_per_ampere is None):
            raise ValueError("current and volts_per_ampere belong together")
        return self

    def identity(self) -> dict[str, Any]:
        """What readings depend on; of roles without a current as it was before there were any."""
        without = {"current", "volts_per_ampere"} if self.current is None else None
        return self.model_dump(exclude=without)


class Conditions(Strict):
    """How a capture was taken. load_ohm may be "open"; range names the bench's input range.

    power_w: the output power that the capture was meant to have, each output; a tone that is
    far from it is refused.
    """

    load_ohm: Annotated[Annotated[float, Field(gt=0, le=1e6)] | Literal["open"] | None, LOAD] = None
    """Load of each output, or "open". Example: `8`"""
    input: Name | None = None
    """Input in use. Example: `"aux"`"""
    tap: Name | None = None
    """Output tap or socket in use. Example: `"8 ohm"`"""
    volume: Name | None = None
    """Setting of the volume control. Example: `"full"`"""
    controls: Name | None = None
    """Setting of the other controls. Example: `"flat"`"""
    range: Name | None = None
    """Input range of the bench. Example: `"50 V"`"""
    driven: Name | None = None
    """The output that is driven, where only one is. Example: `"left"`"""
    supply_vrms: Annotated[float, Field(gt=0), in_unit("V")] | None = None
    """Mains voltage at the unit. Example: `230`"""
    minutes_on: Annotated[float, Field(ge=0)] | None = None
    """Minutes since switching on. Example: `30`"""
    power_w: Annotated[float, Field(gt=0), in_unit("W")] | None = None
    """Output power intended at each output; a tone far from it is refused. Example: `5`"""

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
    matching = [kind for kind in KINDS if kind.marker in value]
    # A trace names the frequency of its square wave by the key that marks such a capture.
    matching = (
        [Table] if Table.marker in value and set(matching) == {Table, SquareWave} else matching
    )
    if len(matching) != 1:
        markers = ", ".join(kind.marker for kind in KINDS)
        raise ValueError(f"exactly one of the keys {markers}")
    return matching[0].model_validate(value)


class Capture(Strict):
    """One raw file. Its own conditions take precedence over those of the review."""

    file: Annotated[Name, AfterValidator(inside)]
    """The capture's file in the review's folder. Example: `"tone-1k.flac"`"""
    stimulus: Annotated[Any, BeforeValidator(by_marker)]
    """What was played: one of the stimulus tables. Example: `{ idle = "input shorted" }`"""
    conditions: Conditions = Conditions()
    """Conditions of this capture, which take precedence over the review's. Example: `{ load_ohm = 4
    }`
    """
    tracks: dict[str, TrackRole] | None = None
    """Tracks of this file where they differ from the review's [tracks]."""
    of: TrackRole | None = None
    """Unit and output of a table; required there, and only there. Example: `{ unit = "heron-40",
    output = "left" }`
    """
    loop_back: bool = False
    """The capture is of the bench alone. Example: `true`"""
    notes: Text | None = None
    """Anything else about the capture."""

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
    """A metric of METRICS.md. Example: `"thd"`"""
    unit: Key
    """Key of a unit of this review. Example: `"heron-40"`"""
    output: Annotated[str, Field(pattern=OUTPUT)]
    """Output, or "both". Example: `"both"`"""
    value: Name
    """The figure with its unit, as it was written. Example: `"< 0.1 %"`"""
    at: FigureConditions = FigureConditions()
    """Conditions of the figure. Example: `{ frequency_hz = 1000 }`"""
    order: Annotated[int, Field(ge=1, le=100)] | None = None
    """Order of a harmonic. Example: `2`"""
    uncertainty_percent: Annotated[float, Field(gt=0, le=100), in_unit("%")] | None = None
    """Standard uncertainty (k = 1) re the value. Example: `5`"""
    origin: Name
    """Page or cell that it was copied from. Example: `"notebook 3, page 12"`"""


class Review(Strict):
    """The session: when, on which bench, at which mains frequency."""

    key: Key
    """Key of the review. Example: `"2024-05-heron-40"`"""
    date: dt.date
    """Day of the session. Example: `2024-05-11`"""
    bench: Key
    """A bench of backbench.toml. Example: `"garage"`"""
    mains_hz: Annotated[float, Field(ge=40, le=70), in_unit("Hz")]
    """Mains frequency. Example: `50`"""
    title: Name | None = None
    """Title on the sheet. Example: `"Heron 40 after service"`"""
    notes: Text | None = None
    """Anything else about the session."""
    temperature_c: Annotated[float, Field(ge=-40, le=60)] | None = None
    """Room temperature. Example: `22`"""


class Manifest(Strict):
    review: Review
    """The session."""
    unit: Annotated[list[Unit], Field(min_length=1)]
    """One table for each unit."""
    tracks: dict[str, TrackRole] = {}
    """What each track of the recordings carries. Example: `1 = { generator = true }`"""
    conditions: Conditions = Conditions()
    """Conditions of every capture unless it has its own."""
    capture: list[Capture] = []
    """One table for each capture."""
    entered: list[Entered] = []
    """One table for each figure copied from an old record."""
    photograph: list[Photograph] = []
    """One table for each picture."""

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
    for unit in manifest.unit:
        yield from unit_faults(unit, f"{name}, unit {unit.key!r}")
    for position, figure in enumerate(manifest.entered, start=1):
        yield from band_faults(figure.at, f"{name}, entered {position}")
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
        yield from track_faults(roles, where)
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
    measured = {(role.unit, role.output) for role in outputs}
    for role in roles.values():
        if role.current and (role.unit, role.current) not in measured:
            wanted = "an output of the same unit among its tracks"
            yield Fault(where, f"the current of {role.current!r}", wanted)
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
