"""A table or a trace in place of a recording: what it holds and where its columns are."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field, model_validator

from backbench.documents.quantity_types import in_unit
from backbench.documents.raw_layout import RawLayout
from backbench.documents.stimulus_model import Hertz, Level, Seconds, StimulusModel
from backbench.documents.table_column import TableColumn


class Table(StimulusModel):
    """An already reduced table; columns are declared, nothing is guessed.

    antenna_ohm: impedance at which a tuner's RF level in volts was stated.
    square_hz, tone_hz, burst_hz, ripple: of a trace, what it shows; exactly one of them. tone_hz
        is also the frequency of the sine that a table of distortion, harmonics or a spectrum is of.
    rise_time_s, probe_rise_time_s: of a square wave's trace, 10 % to 90 % of the generator's own
        edges and of the probe with its instrument.
    on_ms, period_ms: of a burst's trace.
    """

    kind: ClassVar[str] = "table"
    marker: ClassVar[str] = "table"
    table: Literal[
        "response", "impedance", "trace", "tuner", "interference", "distortion", "harmonics",
        "spectrum",
    ]  # fmt: skip
    """What the table holds. Example: `"response"`"""
    columns: Annotated[dict[str, TableColumn], Field(min_length=2)]
    """Its columns by quantity. Example: `{ frequency = { name = "Freq", unit = "Hz" } }`"""
    generator_vrms: Level = "unknown"
    """Level of the generator's EMF, or "unknown". Example: `0.42`"""
    antenna_ohm: Annotated[float, Field(gt=0, le=1e4), in_unit("ohm")] | None = None
    """Impedance at which a tuner's RF level in volts was stated. Example: `75`"""
    square_hz: Hertz | None = None
    """Frequency of the square wave in a trace. Example: `1000`"""
    tone_hz: Hertz | None = None
    """Frequency of the sine in a trace, or that a table is of. Example: `1000`"""
    burst_hz: Hertz | None = None
    """Frequency of the sine within the bursts of a trace. Example: `1000`"""
    on_ms: Annotated[float, Field(gt=0), in_unit("s", 1e3)] | None = None
    """Length of a burst in a trace. Example: `20`"""
    period_ms: Annotated[float, Field(gt=0), in_unit("s", 1e3)] | None = None
    """Time from the start of one burst in a trace to the next. Example: `500`"""
    ripple: Annotated[str, Field(min_length=1)] | None = None
    """The supply whose voltage a trace shows. Example: `"reservoir capacitor"`"""
    rise_time_s: Seconds | None = None
    """10 % to 90 % rise time of the generator, of a trace. Example: `0.000001`"""
    probe_rise_time_s: Seconds | None = None
    """10 % to 90 % rise time of the probe with its instrument, of a trace. Example: `0.00000001`
    """

    raw: RawLayout | None = None
    """How the values stand in a file without a header. Example:
    `{ type = "int16", order = "little", columns = 2 }`
    """

    @model_validator(mode="after")
    def traced(self) -> Table:
        times = (self.rise_time_s, self.probe_rise_time_s, self.on_ms, self.period_ms)
        of_trace = [self.square_hz, self.burst_hz, self.ripple, *times]
        if self.table not in OF_A_TONE:
            of_trace.append(self.tone_hz)
        if self.table != "trace" and any(value is not None for value in of_trace):
            raise ValueError("what a trace shows, rise times and lengths only with a trace")
        if any(time is not None for time in times[:2]) and self.square_hz is None:
            raise ValueError("rise times only with square_hz")
        if any((time is None) != (self.burst_hz is None) for time in times[2:]):
            raise ValueError("burst_hz, on_ms and period_ms belong together")
        return self

    @property
    def shown(self) -> tuple[float | str | None, ...]:
        """What a trace may show, by the order of TRACES."""
        return self.square_hz, self.tone_hz, self.burst_hz, self.ripple

    @property
    def sort(self) -> str:
        """The kind of table; of a trace with what it shows."""
        if self.table != "trace":
            return self.table
        shown = [name for name, one in zip(TRACES, self.shown, strict=True) if one is not None]
        return shown[0] if shown else TRACES[0]

    @property
    def frequency(self) -> float | None:
        return self.square_hz or self.tone_hz or self.burst_hz


OF_A_TONE = ("distortion", "harmonics", "spectrum")
"""Kinds of table that are of one sine."""
TRACES = ("trace", "tone trace", "burst trace", "ripple trace")
"""Kinds of trace by what they show: a square wave, a sine, bursts of a sine, a supply's ripple."""
