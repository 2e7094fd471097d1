"""A review folder begun: a commented manifest with all that is already known filled in."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from backbench.errors import Fault, UserError
from backbench.manifest import MANIFEST_NAME, Manifest, Unit, read_manifest
from backbench.toml_text import inline, lines_of

NEEDED = ("maker", "model", "kind", "technology", "state")
HINTS = {
    "kind": "integrated amplifier, power amplifier, preamplifier, receiver, tuner, other",
    "technology": "tube, solid state, hybrid, switching",
    "state": "as received, serviced, restored, modified",
    "topology": "push-pull, single-ended, class AB, …",
    "made": "a year, or [first, last]",
    "rated_power_w": "the maker's, into the nominal load; a plan goes up to it",
    "work": "what was done since it was last measured",
}


@dataclass(frozen=True)
class Begun:
    """What is known when a review is begun. facts: of the unit, as the manifest names them.

    before: an earlier manifest of the unit, or of the same model. same_unit: which of the two.
    """

    key: str
    date: dt.date
    bench: str
    mains_hz: float
    unit: str
    facts: dict[str, Any] = field(default_factory=dict)
    before: Manifest | None = None
    same_unit: bool = False
    outputs: tuple[str, ...] = ("left", "right")


def missing_facts(begun: Begun) -> list[str]:
    """Facts of the unit that neither the reviewer nor an earlier review has told."""
    known = _facts(begun)
    return [name for name in NEEDED if name not in known]


def manifest_text(begun: Begun) -> str:
    """The manifest. Raises UserError with every fact that is missing or can't stand."""
    missing = missing_facts(begun)
    if missing:
        faults = [
            Fault(f"--{name}", "nothing", HINTS.get(name, "a value"), "nothing is implied")
            for name in missing
        ]
        raise UserError("the review can't be begun", faults)
    text = "\n\n".join([_head(begun), _unit(begun), _tracks(begun), _conditions(begun)]) + "\n"
    read_manifest(text.encode(), MANIFEST_NAME)
    return text


def begin(folder: Path, begun: Begun) -> Path:
    """Write the manifest into a folder that has none; its path. Raises UserError."""
    text = manifest_text(begun)
    path = folder / MANIFEST_NAME
    if path.exists():
        fault = Fault(str(path), "a manifest", "a folder without one", "choose another folder")
        raise UserError("the review can't be begun", [fault])
    folder.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def _earlier(begun: Begun) -> Unit | None:
    if begun.before is None:
        return None
    by_key = {unit.key: unit for unit in begun.before.unit}
    return by_key.get(begun.unit, begun.before.unit[0])


def _facts(begun: Begun) -> dict[str, Any]:
    """Facts of the unit: the reviewer's over those of the earlier review."""
    earlier = _earlier(begun)
    known: dict[str, Any] = {}
    if earlier is not None:
        own = set() if begun.same_unit else {"serial", "notes"}
        known = earlier.model_dump(
            exclude_none=True, exclude={"key", "state", "work", "published", *own}
        )
    return {**known, **{key: value for key, value in begun.facts.items() if value is not None}}


def _head(begun: Begun) -> str:
    return "\n".join([
        "# One bench session. Nothing is implied: what isn't written here is not known.",
        "[review]",
        *lines_of({"key": begun.key, "date": begun.date, "bench": begun.bench,
                   "mains_hz": begun.mains_hz}),
        '# title = "…"',
        "# temperature_c = 21",
    ])  # fmt: skip


def _unit(begun: Begun) -> str:
    facts = _facts(begun)
    names = (
        "maker", "model", "serial", "kind", "technology", "topology", "made", "state", "work",
        "rated_power_w", "list_price", "notes",
    )  # fmt: skip
    lines = ["[[unit]]", f"key = {inline(begun.unit)}"]
    for name in names:
        hint = f"   # {HINTS[name]}" if name in HINTS else ""
        if name in facts and facts[name] not in ([], None):
            lines.append(f"{name} = {inline(facts[name])}{hint}")
        else:
            lines.append(f"# {name} = {hint.strip() or '…'}")
    return "\n\n".join(["\n".join(lines), *_published(begun)])


def _published(begun: Begun) -> list[str]:
    """Published figures of the model as an earlier review had them, or one to fill in."""
    earlier = _earlier(begun)
    if earlier is None or not earlier.published:
        return [
            "# What the maker promised, one table a figure:\n"
            "# [[unit.published]]\n"
            '# metric = "thd"\n'
            "# at = { frequency_hz = 1000, power_w = 15, load_ohm = 8 }\n"
            '# at_most = "1 %"\n'
            '# printed_in = "owner\'s manual"'
        ]
    return [
        "\n".join(["[[unit.published]]", *lines_of(figure.model_dump(exclude_none=True))])
        for figure in earlier.published
    ]


def _tracks(begun: Begun) -> str:
    """The earlier review's tracks where it was of this unit alone, else the outputs in order."""
    lines = ["# Which column of the file carries which output.", "[tracks]"]
    if begun.before is not None and begun.same_unit and len(begun.before.unit) == 1:
        lines += lines_of(
            {n: role.model_dump(exclude_none=True) for n, role in begun.before.tracks.items()}
        )
        return "\n".join(lines)
    roles = {
        str(n): {"unit": begun.unit, "output": output} for n, output in enumerate(begun.outputs, 1)
    }
    return "\n".join([*lines, *lines_of(roles), "# 3 = { generator = true }"])


def _conditions(begun: Begun) -> str:
    lines = ["# Of every capture unless it says otherwise.", "[conditions]"]
    if begun.before is not None:
        usual = begun.before.conditions.model_dump(exclude_none=True, exclude={"minutes_on"})
        return "\n".join([*lines, *lines_of(usual)])
    return "\n".join([*lines, "# load_ohm = 8", '# input = "aux"', '# volume = "full"'])
