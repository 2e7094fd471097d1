"""What reaches a tuner's antenna: a carrier that a generator modulates."""

from __future__ import annotations

from typing import Annotated, ClassVar

from pydantic import Field

from backbench.documents.quantity_types import in_unit
from backbench.documents.stimulus_model import Hertz, StimulusModel


class FmTone(StimulusModel):
    """A tone that frequency-modulates a carrier, with a stereo pilot or without.

    What a tuner adds to it (pilot, subcarrier) and its de-emphasis are measured; the level of the
    tone is that of its deviation, which no generator level states. What `stimuli` makes is the
    tone for the RF generator's audio input.
    """

    kind: ClassVar[str] = "fm tone"
    marker: ClassVar[str] = "fm_tone_hz"
    generated: ClassVar[bool] = True
    sounds_like: ClassVar[tuple[str, ...]] = ("tone",)
    fm_tone_hz: Hertz
    """Frequency of the tone. Example: `1000`"""
    deviation_hz: Hertz
    """Peak deviation of the carrier. Example: `75000`"""
    pilot_hz: Hertz | None = None
    """Frequency of the stereo pilot, where one is sent. Example: `19000`"""
    deemphasis_s: Annotated[float, Field(gt=0, le=1e-3), in_unit("s")] | None = None
    """De-emphasis that the tuner is meant to have, of a generator without pre-emphasis. Example:
    `0.00005`
    """

    @property
    def frequency(self) -> float:
        return self.fm_tone_hz

    @property
    def frequencies(self) -> list[float]:
        return [self.fm_tone_hz, *([self.pilot_hz] if self.pilot_hz else [])]
