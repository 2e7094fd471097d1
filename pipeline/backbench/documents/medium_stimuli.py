"""What a tape or a disc holds that is played back: tones, sweeps, silence, what was erased."""

from __future__ import annotations

from typing import Annotated, ClassVar

from pydantic import Field, model_validator

from backbench.documents.stimulus_model import Hertz, Seconds, StimulusModel

OFF_SPEED = 0.03
"""Relative speed error of a machine in order, at most: common practice, no source."""


class Transport(StimulusModel):
    """A test tone played back by a tape or disc machine: its speed is what is measured."""

    kind: ClassVar[str] = "transport"
    marker: ClassVar[str] = "transport_hz"
    sounds_like: ClassVar[tuple[str, ...]] = ("tone",)
    bytes_a_sample: ClassVar[float] = 34.0
    shows_rate_within: ClassVar[float | None] = OFF_SPEED
    transport_hz: Hertz
    """Nominal frequency of the test tone. Example: `3150`"""

    @property
    def frequency(self) -> float:
        return self.transport_hz


class ToneOnMedium(StimulusModel):
    """A tone played back from a tape or disc, whose level or distortion is measured.

    Its recorded level is stated where it is the one that noise or rumble is referred to: a disc's
    as peak velocity, a tape's as flux.
    """

    kind: ClassVar[str] = "played tone"
    marker: ClassVar[str] = "played_tone_hz"
    sounds_like: ClassVar[tuple[str, ...]] = ("tone",)
    shows_rate_within: ClassVar[float | None] = OFF_SPEED
    played_tone_hz: Hertz
    """Nominal frequency of the tone. Example: `315`"""
    peak_velocity_cm_s: Annotated[float, Field(gt=0, le=100)] | None = None
    """Its recorded peak velocity on a disc, cm/s, as the test record states it. Example: `10`"""
    flux_nwb_m: Annotated[float, Field(gt=0, le=5000)] | None = None
    """Its recorded flux on a tape, nWb/m rms, as the test tape states it. Example: `250`"""
    tape_speed_cm_s: Annotated[float, Field(gt=0, le=200)] | None = None
    """Nominal speed of the tape, with `track_spacing_mm`: for the azimuth as an angle. Example:
    `4.76`
    """
    track_spacing_mm: Annotated[float, Field(gt=0, le=50)] | None = None
    """Distance between the middles of the two channels' tracks. Example: `0.9`"""

    @model_validator(mode="after")
    def one_medium(self) -> ToneOnMedium:
        if (self.tape_speed_cm_s is None) != (self.track_spacing_mm is None):
            raise ValueError("tape_speed_cm_s and track_spacing_mm belong together")
        if self.peak_velocity_cm_s is not None and self.flux_nwb_m is not None:
            raise ValueError("the velocity of a disc or the flux of a tape, not both")
        return self

    @property
    def frequency(self) -> float:
        return self.played_tone_hz


class SweepOnMedium(StimulusModel):
    """A sweep of rising frequency played back from a tape or disc: level against its frequency."""

    kind: ClassVar[str] = "played sweep"
    marker: ClassVar[str] = "played_sweep_hz"
    sounds_like: ClassVar[tuple[str, ...]] = ("sweep",)
    played_sweep_hz: Annotated[list[Hertz], Field(min_length=2, max_length=2)]
    """Start and stop frequency. Example: `[20, 20000]`"""
    sweep_s: Seconds
    """Length of the sweep. Example: `50`"""

    @model_validator(mode="after")
    def rising(self) -> SweepOnMedium:
        if self.played_sweep_hz[0] >= self.played_sweep_hz[1]:
            raise ValueError("a start frequency below the stop frequency")
        return self

    @property
    def frequencies(self) -> list[float]:
        return self.played_sweep_hz


class SilentMedium(StimulusModel):
    """A medium without a signal that is playing: a silent groove, an erased tape."""

    kind: ClassVar[str] = "silent medium"
    marker: ClassVar[str] = "silent_medium"
    sounds_like: ClassVar[tuple[str, ...]] = ("idle",)
    silent_medium: Annotated[str, Field(min_length=1)]
    """What is playing. Example: `"silent groove"`"""


class ErasedTone(StimulusModel):
    """A tape on which a tone had been recorded and was erased: what is left of the tone."""

    kind: ClassVar[str] = "erased tone"
    marker: ClassVar[str] = "erased_tone_hz"
    sounds_like: ClassVar[tuple[str, ...]] = ("idle", "tone")
    erased_tone_hz: Hertz
    """Nominal frequency of the tone that was erased. Example: `1000`"""

    @property
    def frequency(self) -> float:
        return self.erased_tone_hz
