"""The kinds of unit, and what each has: its plan, load, peers, sheet, listener's terms.

A kind of the program is one declaration here; the reviewer's own stand in `backbench.toml`, each
like one of the program's, and are in force while its catalogue is open.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from backbench.documents.input_sorts import is_headphone_socket

Battery = Literal[
    "amplifier", "headphone stage", "line stage", "phono stage", "played source", "transport",
    "tuner",
]  # fmt: skip
Medium = Literal["disc", "tape"]
BRING_THEIR_SIGNAL: tuple[Battery, ...] = ("played source", "transport", "tuner")
"""Usual captures that no generator at the unit's input plays."""
DRIVEN: tuple[Battery, ...] = ("amplifier", "line stage")
"""Usual captures in whose place others stand where the session is at the headphone socket."""
AMPLIFIERS = "amplifiers"
DIGITAL_SOURCES = "digital sources"
LINE_STAGES = "equalisers and crossovers"
AMPLIFIER_POINTS = (
    "idle", "tone", "limit", "impedance-", "channels", "gain-", "response", "two-tone", "square",
    "input",
)  # fmt: skip
"""Before what the tuner of the same unit gives."""
PLAYED_POINTS = ("transport", "played", "silent")


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
    medium: what it plays, of machines that play one.
    first_points: beginnings of the keys of the test points whose figures its sheet shows first.
    also_called: usual words of old records for it.
    """

    name: str
    group: str
    battery: Battery | None = None
    by_power: bool = False
    drives_loudspeakers: bool = False
    has_mains: bool = True
    medium: Medium | None = None
    first_points: tuple[str, ...] = ()
    also_called: tuple[str, ...] = ()
    by_input: Mapping[str, Battery] = field(default_factory=dict)

    def battery_for(self, input_name: str | None, tap: str | None = None) -> Battery | None:
        """The usual captures of a session through this input, at this tap or socket."""
        name = (input_name or "").lower()
        own = next((own for word, own in self.by_input.items() if word in name), self.battery)
        return "headphone stage" if own in DRIVEN and is_headphone_socket(tap) else own

    def planned_by_power(self, input_name: str | None, tap: str | None = None) -> bool:
        """Whether such captures go up in power into a stated load."""
        return self.by_power and self.battery_for(input_name, tap) == self.battery

    @property
    def has_tuner(self) -> bool:
        """Whether it is a tuner, or has one beside what else it is."""
        return "tuner" in (self.battery, *self.by_input.values())

    def shows_first(self, point_key: str) -> bool:
        """Whether figures of a test point lead its sheet."""
        return point_key.startswith(self.first_points)


def _amplifier(
    name: str, *also_called: str, by_input: Mapping[str, Battery],
    first_points: tuple[str, ...] = (),
) -> UnitKind:  # fmt: skip
    return UnitKind(
        name, AMPLIFIERS, battery="amplifier", by_power=True, drives_loudspeakers=True,
        also_called=also_called, by_input=by_input, first_points=first_points,
    )  # fmt: skip


_PHONO: Mapping[str, Battery] = {"phono": "phono stage"}
_SHIPPED: Mapping[str, UnitKind] = {
    kind.name: kind
    for kind in (
        _amplifier("integrated amplifier", "integrated", "integrated amp", "int amp", by_input={}),
        _amplifier("power amplifier", "power", "power amp", "poweramp", by_input={}),
        UnitKind(
            "preamplifier",
            "preamplifier",
            battery="line stage",
            also_called=("pre", "preamp", "pre-amp"),
            by_input=_PHONO,
        ),
        UnitKind(
            "phono stage",
            "phono stage",
            battery="phono stage",
            first_points=("response",),
            also_called=("phono preamplifier", "phono preamp", "phono pre"),
        ),
        _amplifier(
            "receiver",
            by_input={"tuner": "tuner", "fm": "tuner", "radio": "tuner"},
            first_points=AMPLIFIER_POINTS,
        ),
        UnitKind(
            "tuner", "tuner", battery="tuner", first_points=("tuner", "interference", "fm-tone")
        ),
        UnitKind(
            "turntable",
            "turntable",
            battery="transport",
            medium="disc",
            first_points=PLAYED_POINTS,
            also_called=("record player", "record deck"),
        ),
        UnitKind(
            "tape deck",
            "tape deck",
            battery="transport",
            medium="tape",
            first_points=PLAYED_POINTS,
            also_called=("cassette deck", "reel to reel", "tape recorder", "tape machine"),
        ),
        UnitKind(
            "disc player",
            DIGITAL_SOURCES,
            battery="played source",
            also_called=("cd player", "compact disc player"),
        ),
        UnitKind("converter", DIGITAL_SOURCES, battery="played source", also_called=("dac",)),
        UnitKind(
            "headphone amplifier",
            "headphone amplifier",
            battery="headphone stage",
            also_called=("headphone amp", "headamp"),
        ),
        UnitKind(
            "equaliser",
            LINE_STAGES,
            battery="line stage",
            first_points=("response",),
            also_called=("equalizer", "graphic equaliser", "graphic equalizer"),
        ),
        UnitKind(
            "crossover",
            LINE_STAGES,
            battery="line stage",
            first_points=("response",),
            also_called=("electronic crossover", "active crossover"),
        ),
        UnitKind("other", "other", has_mains=False),
    )
}
_own: dict[str, UnitKind] = {}


def unit_kinds() -> Mapping[str, UnitKind]:
    """All kinds in force by name, in the order in which they are listed."""
    return {**_SHIPPED, **_own}


def shipped_kinds() -> Mapping[str, UnitKind]:
    """The kinds of the program by name."""
    return _SHIPPED


def kind_of_unit(name: str) -> UnitKind:
    """The kind of this name; one without special treatment where it isn't in force any more."""
    return unit_kinds().get(name) or UnitKind(name, name)


def loudspeaker_kinds() -> list[str]:
    """Names of the kinds that drive loudspeakers."""
    return [kind.name for kind in unit_kinds().values() if kind.drives_loudspeakers]


def tuner_kinds() -> list[str]:
    """Names of the kinds that are tuners and nothing else."""
    return [kind.name for kind in unit_kinds().values() if kind.battery == "tuner"]


def kinds_with_a_tuner() -> list[str]:
    """Names of the kinds that are tuners, or have one beside what else they are."""
    return [kind.name for kind in unit_kinds().values() if kind.has_tuner]


def kind_like(
    name: str, like: str, group: str | None, also_called: Iterable[str], has_mains: bool | None
) -> UnitKind:
    """A kind that is planned, loaded and shown like one of the program's. group: of its peers."""
    model = _SHIPPED[like]
    return replace(
        model, name=name, group=group or name, also_called=tuple(also_called),
        has_mains=model.has_mains if has_mains is None else has_mains,
    )  # fmt: skip


def use_own_kinds(kinds: Iterable[UnitKind]) -> None:
    """Bring the reviewer's own kinds into force, in place of those before."""
    _own.clear()
    _own.update((kind.name, kind) for kind in kinds)
