"""The kinds of unit, and what each has: its plan, its load, its peers, its listener's terms.

A new kind is one declaration here, with its name in `Kind`; `schema/` groups kinds in the view
`peer` in the same way.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Kind = Literal[
    "integrated amplifier", "power amplifier", "preamplifier", "receiver", "tuner", "other"
]
Battery = Literal["amplifier", "line stage", "phono stage", "tuner"]
AMPLIFIERS = "amplifiers"


@dataclass(frozen=True)
class UnitKind:
    """One kind of unit.

    group: kinds of one group are peers of each other; by default each kind is its own.
    battery: the usual captures that `plan` draws up; None where there are no usual ones.
    by_input: the usual captures through an input whose name holds a word.
    by_power: its plan goes up in output power, so that it needs a rated power and a load; every
        capture of it states its load.
    drives_loudspeakers: figures that refer to a loudspeaker's load, and a listener's terms, hold.
    has_mains: opening it exposes mains and high voltages; its sheet says so.
    also_called: usual words of old records for it.
    """

    name: Kind
    group: str
    battery: Battery | None = None
    by_power: bool = False
    drives_loudspeakers: bool = False
    has_mains: bool = True
    also_called: tuple[str, ...] = ()
    by_input: Mapping[str, Battery] = field(default_factory=dict)

    def battery_for(self, input_name: str | None) -> Battery | None:
        """The usual captures of a session through this input."""
        name = (input_name or "").lower()
        return next((own for word, own in self.by_input.items() if word in name), self.battery)


def _amplifier(name: Kind, *also_called: str) -> UnitKind:
    return UnitKind(
        name, AMPLIFIERS, battery="amplifier", by_power=True, drives_loudspeakers=True,
        also_called=also_called,
    )  # fmt: skip


UNIT_KINDS: dict[str, UnitKind] = {
    kind.name: kind
    for kind in (
        _amplifier("integrated amplifier", "integrated", "integrated amp", "int amp"),
        _amplifier("power amplifier", "power", "power amp", "poweramp"),
        UnitKind(
            "preamplifier",
            "preamplifier",
            battery="line stage",
            also_called=("pre", "preamp", "pre-amp"),
            by_input={"phono": "phono stage"},
        ),
        _amplifier("receiver"),
        UnitKind("tuner", "tuner", battery="tuner"),
        UnitKind("other", "other", has_mains=False),
    )
}
"""All kinds by name, in the order in which they are listed."""
LOUDSPEAKER_KINDS = tuple(kind.name for kind in UNIT_KINDS.values() if kind.drives_loudspeakers)
