"""What every kind of stimulus declares, and the quantities that they are stated in."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from backbench.documents.quantity_types import in_unit
from backbench.documents.strict_model import Strict

Hertz = Annotated[float, Field(gt=0, le=1e6), in_unit("Hz")]
Seconds = Annotated[float, Field(gt=0, le=36_000), in_unit("s")]
Volts = Annotated[float, Field(gt=0, le=1e4), in_unit("V")]
Level = Volts | Literal["unknown"]


class StimulusModel(Strict):
    """What every kind of stimulus declares; the defaults are safe for a kind that says no more.

    kind: its name. marker: the key by which a manifest names it.
    steady: the same all along, so that a long recording may be measured in segments.
    levelled: what the bench adds to it is known from several loop-backs, at several levels or of
        several moments.
    sounds_like: kinds that samples alone can't tell it from.
    generated: its samples can be made by `stimuli`, so that a generator may play them.
    shows_rate_within: how far the frequency of its one tone may be off where it plays as stated,
        relative: less than usual sample rates differ, so that it shows a recorder's. None where it
        shows none.
    bytes_a_sample: memory that its analysis takes at its peak for each sample of all tracks, two at
        least, with a loop-back or reference of the same length where one is used. Measured:
        tests/bench/long_recording.py. The default is the greatest that any kind takes.
    """

    kind: ClassVar[str]
    marker: ClassVar[str]
    steady: ClassVar[bool] = False
    generated: ClassVar[bool] = False
    levelled: ClassVar[bool] = False
    sounds_like: ClassVar[tuple[str, ...]] = ()
    shows_rate_within: ClassVar[float | None] = None
    bytes_a_sample: ClassVar[float] = 86.0

    @property
    def frequency(self) -> float | None:
        """Its one frequency in Hz; None where there are several or none."""
        return None

    @property
    def frequencies(self) -> list[float]:
        """All frequencies in Hz that the sample rate has to hold."""
        return [] if self.frequency is None else [self.frequency]

    @property
    def longest_s(self) -> float | None:
        """The longest recording that is analysed at once, in s; None where memory alone limits."""
        return None

    @property
    def same_with_loop_back(self) -> object:
        """What a capture must have in common with the loop-back that gives the bench's own part.

        Equal to that of no other stimulus where a kind has no use for a loop-back.
        """
        return id(self)

    def identity(self) -> dict[str, object]:
        """What readings depend on; a key that came later counts only where it is stated."""
        return self.model_dump()

    def memory(self, rate_hz: float) -> float:
        """Bytes that the analysis takes at its peak for each sample of all tracks."""
        return self.bytes_a_sample
