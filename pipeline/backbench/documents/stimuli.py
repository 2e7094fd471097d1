"""What was played into a unit: one model for each kind of stimulus.

A kind is recognised by its marker, the key that only it has ("tone_hz", "sweep_hz", …).
Levels are of the generator's EMF as set, in volts; "unknown" says that it was not noted.
"""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

Hertz = Annotated[float, Field(gt=0, le=1e6)]
Seconds = Annotated[float, Field(gt=0, le=36_000)]
Volts = Annotated[float, Field(gt=0, le=1e4)]
Level = Volts | Literal["unknown"]


class Strict(BaseModel):
    """A model that refuses keys that it does not know and values of another type."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class StimulusModel(Strict):
    kind: ClassVar[str]
    marker: ClassVar[str]


class Tone(StimulusModel):
    """One sine."""

    kind: ClassVar[str] = "tone"
    marker: ClassVar[str] = "tone_hz"
    tone_hz: Hertz
    """Frequency of the sine. Example: `1000`"""
    generator_vrms: Level
    """Level of the generator's EMF, or "unknown". Example: `0.42`"""


class Steps(StimulusModel):
    """One sine in steps of rising level within one file."""

    kind: ClassVar[str] = "steps"
    marker: ClassVar[str] = "steps_hz"
    steps_hz: Hertz
    """Frequency of the sine. Example: `1000`"""
    step_s: Seconds
    """Length of each step. Example: `2`"""
    levels_vrms: Annotated[list[Volts], Field(min_length=2)]
    """Rising levels, one for each step. Example: `[0.1, 0.2, 0.4]`"""


class Sweep(StimulusModel):
    """An exponential sine sweep; what was played is a generator track or a file."""

    kind: ClassVar[str] = "sweep"
    marker: ClassVar[str] = "sweep_hz"
    sweep_hz: Annotated[list[Hertz], Field(min_length=2, max_length=2)]
    """Start and stop frequency. Example: `[10, 40000]`"""
    sweep_s: Seconds
    """Length of the sweep. Example: `10`"""
    generator_vrms: Level
    """Level of the generator's EMF, or "unknown". Example: `0.42`"""
    reference_file: str | None = None
    """A recording of what was played, where no track carries the generator. Example: `"sweep.wav"`
    """
    reference_range: str | None = None
    """Input range that the reference file was recorded in. Example: `"5 V"`"""

    @model_validator(mode="after")
    def rising(self) -> Sweep:
        if self.sweep_hz[0] >= self.sweep_hz[1]:
            raise ValueError("a start frequency below the stop frequency")
        return self


class TwoTones(StimulusModel):
    """Two sines. ratio: amplitude of the first over that of the second; level is the total rms."""

    kind: ClassVar[str] = "two tones"
    marker: ClassVar[str] = "tones_hz"
    tones_hz: Annotated[list[Hertz], Field(min_length=2, max_length=2)]
    """Lower and higher frequency. Example: `[19000, 20000]`"""
    ratio: Annotated[float, Field(gt=0, le=100)]
    """Amplitude of the first over that of the second. Example: `1`"""
    generator_vrms: Level
    """Level of the generator's EMF, or "unknown". Example: `0.42`"""

    @model_validator(mode="after")
    def rising(self) -> TwoTones:
        if self.tones_hz[0] >= self.tones_hz[1]:
            raise ValueError("the lower frequency first, and two different ones")
        return self


class Multitone(StimulusModel):
    """Many sines of equal amplitude; level is the total rms."""

    kind: ClassVar[str] = "multitone"
    marker: ClassVar[str] = "multitone_hz"
    multitone_hz: Annotated[list[Hertz], Field(min_length=3, max_length=200)]
    """Frequencies of the tones. Example: `[100, 1000, 10000]`"""
    generator_vrms: Level
    """Level of the generator's EMF, or "unknown". Example: `0.42`"""


class Idle(StimulusModel):
    """Nothing played; the input terminated as told."""

    kind: ClassVar[str] = "idle"
    marker: ClassVar[str] = "idle"
    idle: Annotated[str, Field(min_length=1)]
    """How the input is terminated. Example: `"input shorted"`"""


class Square(StimulusModel):
    """A square wave, level peak to peak. rise_time_s: 10 % to 90 % of the generator's own edges."""

    kind: ClassVar[str] = "square"
    marker: ClassVar[str] = "square_hz"
    square_hz: Hertz
    """Frequency of the square wave. Example: `1000`"""
    generator_vpp: Level
    """Level of the generator's EMF, or "unknown". Example: `0.42`"""
    rise_time_s: Seconds | None = None
    """10 % to 90 % rise time of the generator. Example: `0.000001`"""


class Burst(StimulusModel):
    """Repeated bursts of a sine; level is the rms during the burst."""

    kind: ClassVar[str] = "burst"
    marker: ClassVar[str] = "burst_hz"
    burst_hz: Hertz
    """Frequency of the sine. Example: `1000`"""
    on_ms: Annotated[float, Field(gt=0)]
    """Length of a burst. Example: `20`"""
    period_ms: Annotated[float, Field(gt=0)]
    """Time from the start of one burst to the next. Example: `500`"""
    generator_vrms: Level
    """Level of the generator's EMF, or "unknown". Example: `0.42`"""


class Transport(StimulusModel):
    """A test tone played back by a tape or disc machine: its speed is what is measured."""

    kind: ClassVar[str] = "transport"
    marker: ClassVar[str] = "transport_hz"
    transport_hz: Hertz
    """Nominal frequency of the test tone. Example: `3150`"""


class Column(Strict):
    """A column of a table: its name in the file and the unit of its values."""

    name: Annotated[str, Field(min_length=1)]
    """Name of the column in the file. Example: `"Freq"`"""
    unit: Annotated[str, Field(min_length=1)]
    """Unit of its values. Example: `"Hz"`"""


class Table(StimulusModel):
    """An already reduced table; columns are declared, nothing is guessed.

    antenna_ohm: impedance at which a tuner's RF level in volts was stated.
    square_hz, rise_time_s, probe_rise_time_s: of a trace, the frequency of its square wave, and
        10 % to 90 % of the generator's own edges and of the probe with its instrument.
    """

    kind: ClassVar[str] = "table"
    marker: ClassVar[str] = "table"
    table: Literal["response", "impedance", "trace", "tuner"]
    """What the table holds. Example: `"response"`"""
    columns: Annotated[dict[str, Column], Field(min_length=2)]
    """Its columns by quantity. Example: `{ frequency = { name = "Freq", unit = "Hz" } }`"""
    generator_vrms: Level = "unknown"
    """Level of the generator's EMF, or "unknown". Example: `0.42`"""
    antenna_ohm: Annotated[float, Field(gt=0, le=1e4)] | None = None
    """Impedance at which a tuner's RF level in volts was stated. Example: `75`"""
    square_hz: Hertz | None = None
    """Frequency of the square wave in a trace. Example: `1000`"""
    rise_time_s: Seconds | None = None
    """10 % to 90 % rise time of the generator, of a trace. Example: `0.000001`"""
    probe_rise_time_s: Seconds | None = None
    """10 % to 90 % rise time of the probe with its instrument, of a trace. Example: `0.00000001`
    """

    @model_validator(mode="after")
    def traced(self) -> Table:
        given = (self.square_hz, self.rise_time_s, self.probe_rise_time_s)
        if self.table != "trace" and any(value is not None for value in given):
            raise ValueError("square_hz and rise times only with a trace")
        return self


Stimulus = Tone | Steps | Sweep | TwoTones | Multitone | Idle | Square | Burst | Transport | Table
KINDS: tuple[type[StimulusModel], ...] = (
    Tone, Steps, Sweep, TwoTones, Multitone, Idle, Square, Burst, Transport, Table,
)  # fmt: skip


def analysis_kind(stimulus: Stimulus) -> str:
    """The kind that views and metrics are declared for: a table is one kind for each sort."""
    return f"{stimulus.table} table" if isinstance(stimulus, Table) else stimulus.kind


def frequency_of(stimulus: Stimulus) -> float | None:
    """The one frequency that a stimulus has, in Hz; None where there are several or none."""
    if isinstance(stimulus, Tone):
        return stimulus.tone_hz
    if isinstance(stimulus, Steps):
        return stimulus.steps_hz
    if isinstance(stimulus, (Square, Table)):
        return stimulus.square_hz
    if isinstance(stimulus, Transport):
        return stimulus.transport_hz
    return stimulus.burst_hz if isinstance(stimulus, Burst) else None


def generator_level(stimulus: Stimulus) -> float | None:
    """The generator's rms level as stated, in volts; None where unknown or not of a kind."""
    level = getattr(stimulus, "generator_vrms", None)
    return level if isinstance(level, float) else None
