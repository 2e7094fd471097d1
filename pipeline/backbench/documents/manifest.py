"""review.toml: what was on the bench, how it was measured, which file holds what."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from posixpath import normpath
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, BeforeValidator, Field, PrivateAttr, model_validator

from backbench.documents.conditions import OUTPUT, Conditions, TrackRole
from backbench.documents.contradictions import band_faults, track_faults, unit_faults
from backbench.documents.file_names import MANIFEST_NAME
from backbench.documents.kinds import unit_kinds
from backbench.documents.quantity_types import in_unit
from backbench.documents.refused_entries import Place, PlacedFault, RefusedEntry
from backbench.documents.stimuli import (
    KINDS,
    MARKED_IN_TRACES,
    Idle,
    Stimulus,
    StimulusModel,
    Table,
)
from backbench.documents.strict_model import Strict
from backbench.documents.table_faults import table_faults
from backbench.documents.unit_facts import (
    FigureConditions,
    Key,
    Name,
    PublishedFigure,
    Text,
    Unit,
)
from backbench.documents.validation import read_checked, shortened
from backbench.errors import Fault, UserError, did_you_mean
from backbench.quantities.counts import counted

Item = TypeVar("Item")


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


def by_marker(value: object) -> object:
    """The stimulus model whose marker key the table has."""
    if isinstance(value, StimulusModel) or not isinstance(value, dict):
        return value
    matching = [kind for kind in KINDS if kind.marker in value]
    # A trace names the frequency of what it shows by the key that marks such a capture.
    if Table in matching and set(matching) - {Table} <= MARKED_IN_TRACES:
        matching = [Table]
    if len(matching) != 1:
        markers = [kind.marker for kind in KINDS]
        near = (did_you_mean(str(key), markers) for key in value)
        likely = next(filter(None, near), "") if not matching else ""
        raise ValueError(f"exactly one of the keys {', '.join(markers)} | {likely}")
    return matching[0].model_validate(value)


class Capture(Strict):
    """One raw file. Its own conditions take precedence over those of the review."""

    file: Annotated[Name, AfterValidator(inside)]
    """The capture's file in the review's folder. Example: `"tone-1k.flac"`"""
    stimulus: Annotated[Any, BeforeValidator(by_marker), Stimulus]
    """What was played: one of the stimulus tables. Example: `{ idle = "input shorted" }`"""
    conditions: Conditions = Field(default_factory=Conditions)
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
    at: FigureConditions = Field(default_factory=FigureConditions)
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
    conditions: Conditions = Field(default_factory=Conditions)
    """Conditions of every capture unless it has its own."""
    capture: list[Capture] = []
    """One table for each capture."""
    entered: list[Entered] = []
    """One table for each figure copied from an old record."""
    photograph: list[Photograph] = []
    """One table for each picture."""

    _refused: tuple[RefusedEntry, ...] = PrivateAttr(default=())

    @property
    def refused(self) -> tuple[RefusedEntry, ...]:
        """Entries of the file that were left out, in the order of their tables."""
        return self._refused

    def numbered(self, items: Sequence[Item], *table: str | int) -> Iterator[tuple[int, Item]]:
        """Entries that stand, with their numbers in the file. table: ("capture",) for captures."""
        gone = {entry.place for entry in self._refused}
        number = 0
        for item in items:
            number += 1
            while (*table, number) in gone:
                number += 1
            yield number, item

    def published(self) -> Iterator[tuple[Unit, Place, PublishedFigure]]:
        """Every published figure with its unit and its place in the file."""
        for n, unit in enumerate(self.unit, start=1):
            for position, figure in self.numbered(unit.published, "unit", n, "published"):
                yield unit, ("unit", n, "published", position), figure

    def names(self) -> dict[Place, str]:
        """File or metric of every entry, by its place."""
        files: dict[Place, str] = {
            (table, n): entry.file
            for table in ("capture", "photograph")
            for n, entry in self.numbered(getattr(self, table), table)
        }
        metrics: dict[Place, str] = {place: one.metric for _, place, one in self.published()}
        metrics |= {("entered", n): one.metric for n, one in self.numbered(self.entered, "entered")}
        return files | metrics

    def having_refused(self, entries: Sequence[RefusedEntry]) -> Manifest:
        """The manifest with entries of its file that it doesn't hold noted as refused."""
        noted = self.model_copy()
        noted._refused = (*self._refused, *entries)
        return noted

    def without(self, entries: Sequence[RefusedEntry]) -> Manifest:
        """The manifest with these entries left out, and listed among the refused ones."""
        gone = {entry.place for entry in entries}

        def kept(items: Sequence[Item], *table: str | int) -> list[Item]:
            return [item for n, item in self.numbered(items, *table) if (*table, n) not in gone]

        units = [
            unit.model_copy(update={"published": kept(unit.published, "unit", n, "published")})
            for n, unit in enumerate(self.unit, start=1)
        ]
        lists = {name: kept(getattr(self, name), name)
                 for name in ("capture", "entered", "photograph")}  # fmt: skip
        return self.model_copy(update={"unit": units, **lists}).having_refused(entries)

    def conditions_of(self, capture: Capture) -> Conditions:
        """The capture's conditions, completed by the review's."""
        own = capture.conditions.model_dump(exclude_unset=True)
        return Conditions(**{**self.conditions.model_dump(exclude_unset=True), **own})

    def range_of(self, capture: Capture) -> str | None:
        """The input range of the capture's conditions."""
        own = "range" in capture.conditions.model_fields_set
        return capture.conditions.range if own else self.conditions.range

    def tracks_of(self, capture: Capture) -> dict[int, TrackRole]:
        """Role of each track of a capture, by position in the file from 1."""
        if capture.of is not None:
            return {1: capture.of}
        roles = self.tracks if capture.tracks is None else capture.tracks
        return {int(position): role for position, role in sorted(roles.items())}


def read_manifest(data: bytes, name: str = MANIFEST_NAME) -> Manifest:
    """The manifest in a file's bytes. Raises UserError with every fault of the file."""
    manifest = read_checked(Manifest, data, name)
    faults = [fault for _, fault in crossed(manifest, name)]
    if faults:
        raise UserError(f"{name} has {counted(len(faults), 'fault')}", faults)
    return manifest


def crossed(manifest: Manifest, name: str) -> Iterator[PlacedFault]:
    """Faults between parts of a manifest that are each right by themselves."""
    yield from _repeated(manifest, name)
    yield from _roles(manifest, name)
    known = {unit.key for unit in manifest.unit}
    for unit in manifest.unit:
        where = f"{name}, unit {unit.key!r}"
        yield from _of(None, unit_faults(unit, manifest.review.date, where))
    for unit, place, printed in manifest.published():
        where = f"{name}, unit {unit.key!r}, published {place[-1]}"
        yield from _of(place, band_faults(printed.at, where))
    for position, figure in manifest.numbered(manifest.entered, "entered"):
        place, where = ("entered", position), f"{name}, entered {position}"
        yield from _of(place, band_faults(figure.at, where))
        if figure.unit not in known:
            fault = Fault(f"{where}, unit", repr(figure.unit), "a unit of this review")
            yield place, fault
    for position, capture in manifest.numbered(manifest.capture, "capture"):
        faults = _capture_faults(manifest, capture, f"{name}, capture {position}")
        yield from _of(("capture", position), faults)


def _of(place: Place | None, faults: Iterable[Fault]) -> Iterator[PlacedFault]:
    return ((place, fault) for fault in faults)


def _repeated(manifest: Manifest, name: str) -> Iterator[PlacedFault]:
    """Units, captures and photographs that stand twice.

    Of equal entries the first stands. Where they differ nobody can tell which was meant, but for
    tables: one file may hold the columns of several outputs.
    """
    keys = [unit.key for unit in manifest.unit]
    for key in sorted({key for key in keys if keys.count(key) > 1}):
        yield None, Fault(f"{name}, unit", f"{key!r} twice", "each once", "name one otherwise")
    for table in ("capture", "photograph"):
        places = defaultdict(list)
        for position, entry in manifest.numbered(getattr(manifest, table), table):
            places[normpath(entry.file), _columns_of(entry)].append((position, entry))
        for entries in places.values():
            first = entries[0][1]
            named = [entry.model_copy(update={"file": first.file}) for _, entry in entries]
            alike = all(entry == first for entry in named)
            called = " and ".join(dict.fromkeys(repr(entry.file) for _, entry in entries))
            for position, _ in entries[1:] if alike else entries if len(entries) > 1 else []:
                listed = " and ".join(str(other) for other, _ in entries if other != position)
                yield (table, position), Fault(
                    f"{name}, {table} {position}", f"{called} twice, here and in {table} {listed}",
                    "each once", "take the copy out" if alike else "name one otherwise",
                )  # fmt: skip


def _columns_of(entry: Capture | Photograph) -> str | None:
    """What tells an entry of a table's file from others of the same: its output and its columns."""
    stimulus = getattr(entry, "stimulus", None)
    if not isinstance(entry, Capture) or not isinstance(stimulus, Table):
        return None
    return f"{entry.of} {stimulus.model_dump_json()}"


def _roles(manifest: Manifest, name: str) -> Iterator[PlacedFault]:
    known = {unit.key for unit in manifest.unit}
    used: set[str | None] = set()
    places: list[tuple[Place | None, str, dict[str, TrackRole]]] = []
    places.append((None, f"{name}, tracks", manifest.tracks))
    for n, capture in manifest.numbered(manifest.capture, "capture"):
        own = {"1": capture.of} if capture.of else capture.tracks
        if own is not None:
            places.append((("capture", n), f"{name}, capture {n}, tracks", own))
    for place, where, roles in places:
        used |= {role.unit for role in roles.values()}
        yield from _of(place, track_faults(roles, where))
        yield from _of(place, _role_faults(roles, known, where))
    refused_captures = any(entry.table == "capture" for entry in manifest.refused)
    if manifest.capture and not refused_captures:
        for unit in sorted(known - used):
            yield None, Fault(
                f"{name}, unit {unit!r}", "no track that carries it", "at least one track",
                "add it to [tracks]",
            )  # fmt: skip


def _role_faults(roles: dict[str, TrackRole], known: set[str], where: str) -> Iterator[Fault]:
    for position, role in roles.items():
        if not (position.isascii() and position.isdigit() and int(position) >= 1):
            yield Fault(where, shortened(position), "a track number from 1")
        if role.unit is not None and role.unit not in known:
            near = did_you_mean(role.unit, known, f"known: {', '.join(sorted(known))}")
            yield Fault(f"{where}.{position}", f"unit {role.unit!r}", "a unit of this review", near)


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
    if (
        conditions.load_ohm is None
        and not capture.loop_back
        and _wants_load(manifest, roles, conditions)
    ):
        yield Fault(
            where, "no load_ohm", 'the load in ohm, or "open"', "write it under [conditions]"
        )
    driven = conditions.driven
    if driven is not None and driven not in {role.output for role in outputs}:
        yield Fault(f"{where}, driven", repr(driven), "an output of its tracks")
    if isinstance(capture.stimulus, Table):
        yield from table_faults(capture.stimulus, where)
    played = getattr(capture.stimulus, "reference_file", "") is not None
    if not played and not any(role.generator for role in roles.values()):
        yield Fault(
            where, "a sweep with no record of what was played",
            "a generator track or reference_file",
        )  # fmt: skip


def _numbered(manifest: Manifest, capture: Capture) -> bool:
    roles = manifest.tracks if capture.tracks is None else capture.tracks
    return all(position.isascii() and position.isdigit() for position in roles)


def _wants_load(manifest: Manifest, roles: dict[int, TrackRole], taken: Conditions) -> bool:
    units = {role.unit for role in roles.values()}
    return any(
        unit.key in units and unit_kinds()[unit.kind].planned_by_power(taken.input, taken.tap)
        for unit in manifest.unit
    )


__all__ = ["Capture", "Conditions", "Manifest", "Stimulus", "TrackRole", "Unit", "read_manifest"]
