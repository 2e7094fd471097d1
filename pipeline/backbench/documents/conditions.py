"""How a capture was taken, and what its tracks carry."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from backbench.documents.quantity_types import LOAD, in_unit
from backbench.documents.strict_model import Strict
from backbench.documents.unit_facts import Key, Name

OUTPUT = r"^[a-z0-9][a-z0-9 -]{0,39}$"


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
    """Output tap or socket in use: `"headphones"` has test points of its own. Example:
    `"8 ohm"`"""
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
