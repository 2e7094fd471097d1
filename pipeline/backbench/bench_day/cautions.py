"""What can hurt the reviewer or the unit, said before the work that it belongs to."""

from __future__ import annotations

from backbench.documents.unit_facts import Unit

DEFER = (
    "These lines remind; they don't teach. Follow your local codes, and leave work inside a "
    "mains-powered unit to someone licensed for it."
)
ALWAYS = (
    "Loads get hot enough to burn and to set light to what touches them: mount them clear, rate "
    "them above the power, let them cool before you touch them.",
    "No loudspeakers or headphones on an output under test: a full-power tone costs hearing and "
    "loudspeakers in seconds. Listen afterwards, from low volume up.",
    "Bridged and floating outputs have no grounded side: a grounded probe or recorder input on "
    "either terminal shorts the output. Use a differential input or an isolating one, and check "
    "with a meter which terminal is common.",
    "Bring up a unit of unknown condition on an isolating transformer and a variable one, with the "
    "current watched. An isolated supply still kills between two of its points, and it takes away "
    "what an earth-leakage trip protects.",
)
UNATTENDED = (
    "A run plays all its captures, the greatest powers too, without waiting for you. Stay beside "
    "the load while it plays, with a hand near the switch: loads get hot enough to burn and to set "
    "fire. Stop at once on smell or smoke. Follow your local codes, and leave work inside a "
    "mains-powered unit to someone licensed for it."
)
HIGH_TENSION = (
    "The supply holds lethal high tension, for long after switching off. Discharge the reservoir "
    "through a resistor made for it, and prove with a meter that it is dead before reaching in.",
    "Never drive an output transformer without its load: the voltage rises until insulation "
    "breaks. Connect the load first, take it off last.",
)


def cautions(units: list[Unit]) -> list[str]:
    """The lines for these units; the last one says whose rules come first."""
    tubes = any(unit.technology in {"tube", "hybrid"} for unit in units)
    mains = ("The mains side is lethal in every unit, whatever its technology.",)
    return [*(HIGH_TENSION if tubes else mains), *ALWAYS, DEFER]
