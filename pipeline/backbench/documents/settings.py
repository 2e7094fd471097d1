"""backbench.toml: benches with their calibrations, loudspeakers, further test points."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationInfo, field_validator, model_validator

from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.kinds import UnitKind, kind_like, shipped_kinds
from backbench.documents.quantity_types import in_unit
from backbench.documents.specifications import Specification
from backbench.documents.stimuli import Hertz, stimulus_names
from backbench.documents.strict_model import Strict
from backbench.documents.unit_facts import Key, Name, Text
from backbench.documents.validation import read_bytes, read_checked
from backbench.errors import Fault, UserError, did_you_mean
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.reading import read_value
from backbench.quantities.units import UNITS

QuantityName = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{1,59}$")]
Percent = Annotated[float, Field(gt=0, le=50), in_unit("%")]


class Calibration(Strict):
    """Volts (peak) at digital full scale of each track, from a date on, for one input range.

    uncertainty_percent: standard uncertainty (k = 1) of those volts.
    good_until: the day after which it ought to be done again; a warning, no more.
    """

    since: dt.date
    """First day that the calibration holds for. Example: `2024-01-01`"""
    good_until: dt.date | None = None
    """Day after which a warning asks for a new calibration. Example: `2025-01-01`"""
    range: Name | None = None
    """Input range; leave out where the bench has one only. Example: `"50 V"`"""
    volts_peak_at_full_scale: Annotated[
        dict[str, Annotated[float, in_unit("V")]], Field(min_length=1)
    ]
    """Peak volts at digital full scale, by track number. Example: `{ 1 = 50.0, 2 = 50.0 }`"""
    uncertainty_percent: Percent
    """Standard uncertainty (k = 1) of those volts. Example: `0.3`"""

    @field_validator("volts_peak_at_full_scale")
    @classmethod
    def by_track(cls, value: dict[str, float]) -> dict[str, float]:
        if not all(track.isdigit() and int(track) >= 1 and v > 0 for track, v in value.items()):
            raise ValueError("volts above 0 for each track number, as { 1 = 40.0, 2 = 2.0 }")
        return value


class BenchEvent(Strict):
    """What was done to a bench: a repair, a new cable, another converter. Drawn in its chart."""

    day: dt.date
    """Day from which it holds. Example: `2024-03-02`"""
    what: Name
    """What was done. Example: `"input attenuator replaced"`"""


class Bench(Strict):
    """A measuring chain. Uncertainties are standard uncertainties (k = 1), in percent.

    generator_range: the calibration range whose track 1 holds the volts (peak) of the generator
        at digital full scale, where it plays files.
    """

    load_uncertainty_percent: Percent
    """Standard uncertainty (k = 1) of the dummy load's resistance when warm. Example: `0.5`"""
    generator_uncertainty_percent: Percent
    """Standard uncertainty (k = 1) of the generator's stated level. Example: `0.5`"""
    generator_range: Name | None = None
    """The calibration range whose track 1 holds the generator's peak volts at digital full scale.
    Example: `"generator"`
    """
    calibration: list[Calibration] = []
    """One table for each calibration."""
    event: list[BenchEvent] = []
    """One table for each thing that was done to the bench."""


class CustomTestPoint(Strict):
    """A test point added by the reviewer: conditions at which units may be compared."""

    key: Key
    """Key of the test point. Example: `"tone-1khz-10w-8ohm"`"""
    title: Name
    """Its title on screens. Example: `"1 kHz, 10 W, 8 ohm"`"""
    stimulus: Name
    """Kind of stimulus, as METRICS.md names it. Example: `"tone"`"""
    frequency_hz: Hertz | None = None
    """Frequency of the tone. Example: `1000`"""
    power_w: Annotated[float, Field(gt=0), in_unit("W")] | None = None
    """Output power. Example: `10`"""
    power_within_percent: Percent = 25.0
    """How far a capture's power may be from it. Example: `25`"""
    load_ohm: Annotated[float, Field(gt=0), in_unit("ohm")] | None = None
    """Load resistance. Example: `8`"""

    @field_validator("stimulus")
    @classmethod
    def known_stimulus(cls, value: str) -> str:
        known = stimulus_names()
        for name in value.split(", "):
            if name not in known:
                remedy = did_you_mean(name, known)
                choice = "" if remedy else f": {', '.join(known)}"
                raise ValueError(f"a kind of stimulus{choice} | {remedy}")
        return value


class Loudspeaker(Strict):
    """A loudspeaker to express noise and loudness for: sensitivity at 2.83 V, 1 m."""

    name: Name
    """Name on screens. Example: `"efficient horn"`"""
    sensitivity_db: Annotated[float, Field(ge=50, le=130), in_unit("dB")]
    """Sound pressure level at 1 m for 2.83 V. Example: `98`"""


class Listening(Strict):
    """The listening room that audibility is worked out for."""

    seat_m: Annotated[float, Field(gt=0, le=100)]
    """Distance of the seat from the loudspeakers. Example: `3`"""
    room_noise_dba: Annotated[float, Field(ge=0, le=100)]
    """Background noise of the room. Example: `28`"""
    music_db: Annotated[float, Field(ge=40, le=130), in_unit("dB")] | None = None
    """Sound pressure level at the seat where a source plays the reference level that its noise is
    stated re (a record's or a tape's reference tone, full modulation, full scale); without it no
    noise of a source is told as a level there. Example: `85`
    """


class Cluster(Strict):
    """A Dask scheduler that runs already, and the storage that all its workers see.

    originals: an fsspec URL, or a folder's whole path. Secrets of either belong into the
        environment (fsspec's, the storage's own), not into the settings.
    """

    scheduler: Name
    """Address of the Dask scheduler. Example: `"tcp://scheduler:8786"`"""
    originals: Name
    """Storage that all workers see: an fsspec URL or a whole path, without secrets. Example:
    `"s3://bucket/folder"`
    """

    @field_validator("scheduler")
    @classmethod
    def scheduler_address(cls, value: str) -> str:
        if not re.fullmatch(r"(tcp|tls)://[^/@\s]+:\d+", value):
            raise ValueError("an address such as tcp://host:8786")
        return value

    @field_validator("originals")
    @classmethod
    def storage_address(cls, value: str) -> str:
        scheme, separator, rest = value.partition("://")
        if not separator and not Path(value).is_absolute():
            raise ValueError("a URL such as s3://bucket/folder, or a folder's whole path")
        if separator and (not scheme or not rest or ":" in rest.rpartition("@")[0]):
            raise ValueError("a URL such as s3://bucket/folder, without a password")
        return value


class OwnKind(Strict):
    """A kind of unit of the reviewer's own: planned, loaded and shown like one of the program's."""

    like: Name
    """Kind of the program that it is planned, loaded and shown like. Example: `"preamplifier"`"""
    peers: Name | None = None
    """Group of kinds whose units are its peers, as `"amplifiers"`; by default it is its own.
    Example: `"preamplifier"`
    """
    also_called: list[Name] = []
    """Other words for it in old records. Example: `["line amp"]`"""
    has_mains: bool | None = None
    """Whether opening it exposes mains; by default as the other kind. Example: `false`"""

    @field_validator("like")
    @classmethod
    def shipped(cls, value: str) -> str:
        if value not in (known := shipped_kinds()):
            raise ValueError(f"one of {', '.join(known)} | {did_you_mean(value, known)}")
        return value


class OwnQuantity(Strict):
    """A quantity of the reviewer's own, entered by hand: mains draw, case temperature, bias.

    Its figures stand under `[[entered]]` of a review or come from a spreadsheet, and are ranked,
    compared, charted and shown as any other's.
    """

    title: Name
    """Its title on screens. Example: `"Mains draw at idle"`"""
    unit: Name
    """Unit of its figures; `"1"` for a mere number, `"degC"` for degrees Celsius. Example: `"W"`
    """
    better: Literal["lower", "higher", "nearer zero", "neither"]
    """Which direction is good. Example: `"lower"`"""
    definition: Text | None = None
    """How it is measured, in a sentence. Example: `"Mains power after an hour without signal."`"""
    signed: bool = False
    """Whether a figure may be below 0. Example: `true`"""
    uncertainty: Name | None = None
    """Standard uncertainty (k = 1) of the instrument, in the unit. Example: `"0.5 W"`"""
    uncertainty_percent: Percent | None = None
    """Standard uncertainty (k = 1) of the instrument, of the figure; with `uncertainty` both count.
    Example: `2`
    """
    also_called: list[Name] = []
    """Headings of old records that mean it. Example: `["power consumption"]`"""

    @field_validator("title", "definition")
    @classmethod
    def plain(cls, value: str | None) -> str | None:
        if set(value or "") & set(";{}"):
            raise ValueError("a text without ; and braces")
        return value

    @field_validator("unit")
    @classmethod
    def known_unit(cls, value: str) -> str:
        if value not in UNITS:
            raise ValueError(f"one of {', '.join(UNITS)} | {did_you_mean(value, UNITS)}")
        return value

    @model_validator(mode="after")
    def readable(self) -> OwnQuantity:
        try:
            if self.uncertainty is not None and self.uncertainty_value <= 0:
                raise ValueError("an uncertainty above 0")
        except UnreadableQuantity as error:
            raise ValueError(f"an uncertainty in {self.unit} ({error.reason})") from None
        return self

    @property
    def uncertainty_value(self) -> float:
        """The instrument's, in the quantity's unit; 0 where it isn't stated."""
        return 0.0 if self.uncertainty is None else read_value(self.uncertainty, self.unit)


class Settings(Strict):
    title: Name = "Catalogue"
    """Title of the catalogue and its site. Example: `"My bench"`"""
    engine: Literal["local", "dask"] = "local"
    """Where captures are analysed. Example: `"dask"`"""
    workers: Annotated[Cluster | None, Field(validate_default=True)] = None
    """The cluster, with the engine "dask"."""
    bench: dict[Key, Bench] = {}
    """One table for each bench, by its key."""
    loudspeaker: list[Loudspeaker] = []
    """Loudspeakers that noise and loudness are worked out for."""
    listening: Listening | None = None
    """The listening room."""
    kind: dict[Name, OwnKind] = {}
    """Kinds of unit added to those of the program, by name."""
    quantity: dict[QuantityName, OwnQuantity] = {}
    """Quantities of the reviewer's own, by the name that entered figures give as their metric."""
    test_point: list[CustomTestPoint] = []
    """Test points added to those of the program."""
    specification: list[Specification] = []
    """What makers promised of models of which no unit came to the bench."""
    aliases: dict[Key, Key] = {}
    """Former key of a unit and its current key, written by `backbench rename`. Example: `heron-40-b
    = "heron-40"`
    """

    @field_validator("workers")
    @classmethod
    def named_for_dask(cls, value: Cluster | None, info: ValidationInfo) -> Cluster | None:
        if value is None and info.data.get("engine") == "dask":
            raise ValueError('scheduler and originals of the engine "dask" in a table [workers]')
        return value

    @field_validator("kind")
    @classmethod
    def own_names(cls, value: dict[str, OwnKind]) -> dict[str, OwnKind]:
        if taken := sorted(value.keys() & shipped_kinds().keys()):
            raise ValueError(f"names that no kind of the program has | {taken[0]!r} is one")
        return value

    def own_kinds(self) -> list[UnitKind]:
        """The reviewer's own kinds of unit, whole."""
        return [
            kind_like(name, own.like, own.peers, own.also_called, own.has_mains)
            for name, own in self.kind.items()
        ]

    def unit_key(self, key: str) -> str:
        """The present key of a unit, after every renaming."""
        seen = {key}
        while (newer := self.aliases.get(key)) is not None and newer not in seen:
            seen.add(newer)
            key = newer
        return key


def read_settings(folder: Path) -> Settings:
    """The settings of a catalogue folder. Raises UserError with every fault of the file."""
    path = folder / SETTINGS_NAME
    data = read_bytes(path, "the catalogue's settings")
    return read_checked(Settings, data, SETTINGS_NAME)


class InForce(Strict):
    """The calibration that holds for one capture."""

    bench: str
    since: dt.date
    range: str | None
    volts: dict[int, float]
    relative: float

    @property
    def key(self) -> str:
        """Short name of the calibration: bench, day and range."""
        return "/".join(filter(None, (self.bench, self.since.isoformat(), self.range)))


def calibration_for(
    settings: Settings, bench: str, day: dt.date, input_range: str | None
) -> InForce:
    """The latest calibration not after the day, of that input range. Raises UserError."""
    in_force = [
        c
        for c in (settings.bench[bench].calibration if bench in settings.bench else [])
        if c.since <= day and c.range == input_range
    ]
    if not in_force:
        raise UserError("no calibration", [_missing(settings, bench, day, input_range)])
    latest = max(in_force, key=lambda c: c.since)
    volts = {int(track): v for track, v in latest.volts_peak_at_full_scale.items()}
    return InForce(
        bench=bench, since=latest.since, range=latest.range, volts=volts,
        relative=latest.uncertainty_percent / 100,
    )  # fmt: skip


def _missing(settings: Settings, bench: str, day: dt.date, input_range: str | None) -> Fault:
    if bench not in settings.bench:
        known = ", ".join(sorted(settings.bench)) or "none"
        return Fault(
            f"bench {bench!r}", "no such bench", f"a [bench.{bench}] in {SETTINGS_NAME}",
            f"benches there: {known}",
        )  # fmt: skip
    named = f" for range {input_range!r}" if input_range else " without a range"
    ranges = sorted({c.range for c in settings.bench[bench].calibration if c.range})
    return Fault(
        f"bench {bench!r}", f"no calibration on {day}{named}",
        f"one in {SETTINGS_NAME} that was in force by then",
        f"ranges there: {', '.join(ranges) or 'none'}; correct the date or the range, or measure "
        "the calibration with `backbench calibrate`",
    )  # fmt: skip
