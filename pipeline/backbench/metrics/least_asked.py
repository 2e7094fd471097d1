"""What a published standard asked of a machine, at least, to be called high fidelity."""

from __future__ import annotations

from dataclasses import dataclass

from backbench.documents.kinds import Medium


@dataclass(frozen=True)
class LeastAsked:
    """The limits of a standard for one figure of machines for one medium.

    lowest, highest: in the unit of the metric, or no limit on that side.
    at_hz: frequency that the limit holds for; None: any.
    recorded: recorded level that the figure must refer to, as its detail tells it; "": any.
    source: the standard, and how it is known.
    """

    of: Medium
    source: str
    lowest: float | None = None
    highest: float | None = None
    at_hz: float | None = None
    recorded: str = ""


_TAPE = "DIN 45500, sheet 4 (second-hand)"
_DISC = "DIN 45500, sheet 3 (second-hand)"

SPEED = (
    LeastAsked("tape", _TAPE, lowest=-1.5, highest=1.5),
    LeastAsked("disc", _DISC, lowest=-1.0, highest=1.5),
)
WEIGHTED_FLUTTER = (
    LeastAsked("tape", _TAPE, highest=0.2),
    LeastAsked("disc", _DISC, highest=0.2),
)
RUMBLE = (LeastAsked("disc", _DISC, highest=-35.0, recorded="10 cm/s peak at 1 kHz"),)
WEIGHTED_RUMBLE = (LeastAsked("disc", _DISC, highest=-50.0, recorded="10 cm/s peak at 1 kHz"),)
SEPARATION = (
    LeastAsked("tape", _TAPE, lowest=20.0, at_hz=1000.0),
    LeastAsked("disc", _DISC, lowest=20.0, at_hz=1000.0),
)
BALANCE = (
    LeastAsked("tape", _TAPE, lowest=-2.0, highest=2.0),
    LeastAsked("disc", _DISC, lowest=-2.0, highest=2.0),
)
