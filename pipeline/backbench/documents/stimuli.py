"""What was played into a unit: one model for each kind of stimulus.

A kind is recognised by its marker, the key that only it has ("tone_hz", "sweep_hz", …). What else
the program has to know of a kind stands on its model: its frequency, memory, length.
Levels are of the generator's EMF as set, in volts; "unknown" says that it was not noted.
"""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, get_args

from pydantic import Field, model_validator

from backbench.documents.broadcast_stimuli import FmTone
from backbench.documents.medium_stimuli import (
    ErasedTone,
    SilentMedium,
    SweepOnMedium,
    ToneOnMedium,
    Transport,
)
from backbench.documents.quantity_types import in_unit
from backbench.documents.stimulus_model import Hertz, Level, Seconds, StimulusModel, Volts
from backbench.documents.table_stimulus import TRACES, Table

LOW_PLAYED_DB = -60.0
"""Re full scale; noise of 16 bits lies near -94 dB, that of a poor output above that."""


class Tone(StimulusModel):
    """One sine. A unit that plays it from a file or a disc has its level stated re full scale."""

    kind: ClassVar[str] = "tone"
    marker: ClassVar[str] = "tone_hz"
    steady: ClassVar[bool] = True
    generated: ClassVar[bool] = True
    levelled: ClassVar[bool] = True
    shows_rate_within: ClassVar[float | None] = 0.02
    bytes_a_sample: ClassVar[float] = 72.0
    tone_hz: Hertz
    """Frequency of the sine. Example: `1000`"""
    generator_vrms: Level
    """Level of the generator's EMF, or "unknown". Example: `0.42`"""
    full_scale_db: Annotated[float, Field(ge=-150, le=0), in_unit("dB")] | None = None
    """Where the unit itself plays the tone from a file or disc: its level there, re a sine of full
    scale. Example: `-60`"""
    file_rate_hz: Hertz | None = None
    """Sample rate of that file or disc. Example: `44100`"""
    pre_emphasis: Literal[True] | None = None
    """The file or disc is marked as recorded with pre-emphasis (50 us and 15 us), its level stated
    as it was recorded. Example: `true`"""

    @property
    def frequency(self) -> float:
        return self.tone_hz

    @property
    def same_with_loop_back(self) -> object:
        return self.kind, self.tone_hz

    @property
    def may_lie_in_noise(self) -> bool:
        """Whether a unit plays it so low that its own noise may be the louder."""
        return self.full_scale_db is not None and self.full_scale_db <= LOW_PLAYED_DB

    def identity(self) -> dict[str, object]:
        facts = self.model_dump()
        later = ("full_scale_db", "file_rate_hz", "pre_emphasis")
        return {key: value for key, value in facts.items() if key not in later or value is not None}


class ToneThroughResistor(StimulusModel):
    """One sine through a resistor between the generator and the input: its impedance."""

    kind: ClassVar[str] = "tone through a resistor"
    marker: ClassVar[str] = "through_ohm"
    sounds_like: ClassVar[tuple[str, ...]] = ("tone",)
    generated: ClassVar[bool] = True
    bytes_a_sample: ClassVar[float] = 72.0
    through_ohm: Annotated[float, Field(gt=0, le=1e8), in_unit("ohm")]
    """Resistor between the generator and the input. Example: `47000`"""
    resistor_percent: Annotated[float, Field(gt=0, le=20), in_unit("%")]
    """Tolerance of the resistor. Example: `1`"""
    through_hz: Hertz
    """Frequency of the sine. Example: `1000`"""
    generator_vrms: Level
    """Level of the generator's EMF, or "unknown". Example: `0.42`"""

    @property
    def frequency(self) -> float:
        return self.through_hz


class Steps(StimulusModel):
    """One sine in steps of rising level within one file.

    Steps are looked for by every length that they may have at every 10 ms: the recording's length
    times that of a step is limited to 1200 s^2 (two minutes of steps of 10 s), which take 0.4 GB.
    """

    kind: ClassVar[str] = "steps"
    marker: ClassVar[str] = "steps_hz"
    generated: ClassVar[bool] = True
    levelled: ClassVar[bool] = True
    bytes_a_sample: ClassVar[float] = 24.0
    most_s2: ClassVar[float] = 1200.0
    steps_hz: Hertz
    """Frequency of the sine. Example: `1000`"""
    step_s: Seconds
    """Length of each step. Example: `2`"""
    levels_vrms: Annotated[list[Volts], Field(min_length=2)]
    """Rising levels, one for each step. Example: `[0.1, 0.2, 0.4]`"""

    @property
    def frequency(self) -> float:
        return self.steps_hz

    @property
    def same_with_loop_back(self) -> object:
        """That of a single tone: each step is measured as one."""
        return Tone.kind, self.steps_hz

    @property
    def longest_s(self) -> float:
        return self.most_s2 / self.step_s


class Sweep(StimulusModel):
    """An exponential sine sweep; what was played is a generator track or a file.

    bytes_of_band: memory beyond bytes_a_sample for as much of the recording's band as it covers.
    """

    kind: ClassVar[str] = "sweep"
    marker: ClassVar[str] = "sweep_hz"
    levelled: ClassVar[bool] = True
    generated: ClassVar[bool] = True
    bytes_a_sample: ClassVar[float] = 36.0
    bytes_of_band: ClassVar[float] = 46.0
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

    @property
    def frequencies(self) -> list[float]:
        return self.sweep_hz

    @property
    def same_with_loop_back(self) -> object:
        return self.kind, tuple(self.sweep_hz)

    def memory(self, rate_hz: float) -> float:
        fraction = min(1.0, 2 * max(self.sweep_hz) / rate_hz)
        return self.bytes_a_sample + self.bytes_of_band * fraction


class TwoTones(StimulusModel):
    """Two sines. ratio: amplitude of the first over that of the second; level is the total rms."""

    kind: ClassVar[str] = "two tones"
    marker: ClassVar[str] = "tones_hz"
    steady: ClassVar[bool] = True
    generated: ClassVar[bool] = True
    levelled: ClassVar[bool] = True
    bytes_a_sample: ClassVar[float] = 72.0
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

    @property
    def frequencies(self) -> list[float]:
        return self.tones_hz

    @property
    def same_with_loop_back(self) -> object:
        return self.kind, tuple(self.tones_hz), self.ratio


class SquareAndSine(StimulusModel):
    """A low-passed square wave with a sine of a quarter of its peak: dynamic intermodulation.

    Level is the total rms. The low-pass is of first order.
    """

    kind: ClassVar[str] = "square and sine"
    marker: ClassVar[str] = "square_and_sine_hz"
    sounds_like: ClassVar[tuple[str, ...]] = ("square", "multitone", "two tones")
    generated: ClassVar[bool] = True
    levelled: ClassVar[bool] = True
    bytes_a_sample: ClassVar[float] = 72.0
    square_and_sine_hz: Annotated[list[Hertz], Field(min_length=2, max_length=2)]
    """Frequency of the square wave and of the sine. Example: `[3150, 15000]`"""
    low_pass_hz: Hertz
    """Corner of the low-pass that the square wave went through. Example: `30000`"""
    generator_vrms: Level
    """Level of the generator's EMF, or "unknown". Example: `0.42`"""

    @model_validator(mode="after")
    def rising(self) -> SquareAndSine:
        if self.square_and_sine_hz[0] >= self.square_and_sine_hz[1]:
            raise ValueError("the square wave's frequency first, below that of the sine")
        return self

    @property
    def frequencies(self) -> list[float]:
        return self.square_and_sine_hz

    @property
    def same_with_loop_back(self) -> object:
        return self.kind, tuple(self.square_and_sine_hz), self.low_pass_hz


class Multitone(StimulusModel):
    """Many sines of equal amplitude; level is the total rms."""

    kind: ClassVar[str] = "multitone"
    marker: ClassVar[str] = "multitone_hz"
    steady: ClassVar[bool] = True
    generated: ClassVar[bool] = True
    bytes_a_sample: ClassVar[float] = 45.0
    multitone_hz: Annotated[list[Hertz], Field(min_length=3, max_length=200)]
    """Frequencies of the tones. Example: `[100, 1000, 10000]`"""
    generator_vrms: Level
    """Level of the generator's EMF, or "unknown". Example: `0.42`"""

    @property
    def frequencies(self) -> list[float]:
        return self.multitone_hz


class Idle(StimulusModel):
    """Nothing played; the input terminated as told."""

    kind: ClassVar[str] = "idle"
    marker: ClassVar[str] = "idle"
    levelled: ClassVar[bool] = True
    steady: ClassVar[bool] = True
    bytes_a_sample: ClassVar[float] = 86.0
    idle: Annotated[str, Field(min_length=1)]
    """How the input is terminated. Example: `"input shorted"`"""

    @property
    def same_with_loop_back(self) -> object:
        return self.kind


class SquareWave(StimulusModel):
    """A square wave, level peak to peak. rise_time_s: 10 % to 90 % of the generator's own edges."""

    kind: ClassVar[str] = "square"
    marker: ClassVar[str] = "square_hz"
    steady: ClassVar[bool] = True
    generated: ClassVar[bool] = True
    bytes_a_sample: ClassVar[float] = 45.0
    square_hz: Hertz
    """Frequency of the square wave. Example: `1000`"""
    generator_vpp: Level
    """Level of the generator's EMF, or "unknown". Example: `0.42`"""
    rise_time_s: Seconds | None = None
    """10 % to 90 % rise time of the generator. Example: `0.000001`"""

    @property
    def frequency(self) -> float:
        return self.square_hz

    @property
    def frequencies(self) -> list[float]:
        """The fundamental and its third harmonic: less would be a sine."""
        return [3 * self.square_hz]


class Burst(StimulusModel):
    """Repeated bursts of a sine; level is the rms during the burst."""

    kind: ClassVar[str] = "burst"
    marker: ClassVar[str] = "burst_hz"
    generated: ClassVar[bool] = True
    bytes_a_sample: ClassVar[float] = 45.0
    burst_hz: Hertz
    """Frequency of the sine. Example: `1000`"""
    on_ms: Annotated[float, Field(gt=0), in_unit("s", 1e3)]
    """Length of a burst. Example: `20`"""
    period_ms: Annotated[float, Field(gt=0), in_unit("s", 1e3)]
    """Time from the start of one burst to the next. Example: `500`"""
    generator_vrms: Level
    """Level of the generator's EMF, or "unknown". Example: `0.42`"""

    @property
    def frequency(self) -> float:
        return self.burst_hz


MARKED_IN_TRACES = {SquareWave, Tone, Burst}
"""Kinds of stimulus whose marker a trace has too, for what it shows."""
Stimulus = (
    Tone
    | ToneThroughResistor
    | Steps
    | Sweep
    | TwoTones
    | SquareAndSine
    | Multitone
    | Idle
    | SquareWave
    | Burst
    | Transport
    | ToneOnMedium
    | SweepOnMedium
    | SilentMedium
    | ErasedTone
    | FmTone
    | Table
)
KINDS: tuple[type[StimulusModel], ...] = get_args(Stimulus)


def analysis_kind(stimulus: Stimulus) -> str:
    """The kind that views and metrics are declared for: a table is one kind for each sort."""
    return f"{stimulus.sort} table" if isinstance(stimulus, Table) else stimulus.kind


def stimulus_names() -> list[str]:
    """Every kind that views and metrics are declared for, those of tables too."""
    tables = get_args(Table.model_fields["table"].annotation)
    sorts = [*dict.fromkeys([*tables, *TRACES])]
    plain = [kind.kind for kind in KINDS if kind is not Table]
    return [*plain, *(f"{sort} table" for sort in sorts)]


def frequency_of(stimulus: Stimulus) -> float | None:
    """The one frequency that a stimulus has, in Hz; None where there are several or none."""
    return stimulus.frequency


def generator_level(stimulus: Stimulus) -> float | None:
    """The generator's rms level as stated, in volts; None where unknown or not of a kind."""
    level = getattr(stimulus, "generator_vrms", None)
    return level if isinstance(level, float) else None


__all__ = [
    "KINDS", "MARKED_IN_TRACES", "TRACES", "ErasedTone", "FmTone", "Hertz", "Level", "Seconds",
    "SilentMedium", "Stimulus", "StimulusModel", "SweepOnMedium", "Table", "ToneOnMedium",
    "Transport", "Volts",
]  # fmt: skip
