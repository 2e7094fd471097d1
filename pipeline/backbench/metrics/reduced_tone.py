"""A tone whose figures something else has worked out: a fit of a trace, or an instrument."""

from __future__ import annotations

from typing import Protocol

from backbench.metrics.declaration import MeasuredValue

REDUCED_TONES = ["tone trace table", "distortion table", "harmonics table"]
"""Kinds of capture whose views are such tones."""


class ReducedTone(Protocol):
    """What it knows of itself. Raises NotApplicable or Refusal for what it doesn't."""

    def level(self) -> MeasuredValue:
        """Rms of the fundamental, V."""

    def power(self) -> MeasuredValue:
        """Of the fundamental in the stated resistor, W."""

    def gain(self) -> MeasuredValue:
        """Output over generator, dB."""

    def thd(self) -> tuple[MeasuredValue, int]:
        """Harmonics re the fundamental, %, and the order of the highest that counts."""
