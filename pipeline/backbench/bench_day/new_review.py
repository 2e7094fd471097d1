"""A review folder begun: a commented manifest with all that is already known filled in."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import tomlkit

from backbench.documents.file_names import MANIFEST_NAME
from backbench.documents.manifest import Manifest, read_manifest
from backbench.documents.toml_writing import block, item_of, table_of
from backbench.documents.unit_facts import Unit, choices
from backbench.errors import MISSING, Fault, UserError
from backbench.storage.atomic_io import write_text_file

NEEDED = ("maker", "model", "kind", "technology", "state")
_HINTS = {
    "topology": "push-pull, single-ended, class AB, …",
    "made": "a year, or [first, last]",
    "rated_power_w": "the maker's, into the nominal load; a plan goes up to it",
    "work": "what was done since it was last measured",
}


def hints() -> dict[str, str]:
    """What may stand in a fact of a unit, by its name."""
    return {**{name: ", ".join(words) for name, words in choices().items()}, **_HINTS}


TRACKS = "# The output that each track of the recordings carries."


@dataclass(frozen=True)
class ReviewDraft:
    """What is known when a review is begun. facts: of the unit, as the manifest names them.

    before: an earlier manifest of the unit, or of the same model. same_unit: which of the two.
    partner: the second unit of a mono pair; the facts are of both, but for the serials.
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
    partner: str | None = None
    serials: tuple[str, ...] = ()

    @property
    def units(self) -> tuple[str, ...]:
        """The units' keys, in the order of their tracks."""
        return (self.unit,) if self.partner is None else (self.unit, self.partner)


def partner_of(units: list[str]) -> str | None:
    """The second of a mono pair. Raises UserError for more, or for one unit named twice."""
    if len(units) > 2 or len(set(units)) != len(units):
        fault = Fault("--unit", ", ".join(units), "one unit, or two different ones",
                      "write further units into review.toml by hand")  # fmt: skip
        raise UserError("the review can't be started", [fault])
    return units[1] if len(units) == 2 else None


def serials_of(serials: list[str] | None, units: list[str]) -> tuple[str, ...]:
    """Serial numbers: none, or one a unit. Raises UserError."""
    if serials and len(serials) != len(units):
        fault = Fault("--serial", str(len(serials)), f"{len(units)}, one for each --unit")
        raise UserError("the review can't be started", [fault])
    return tuple(serials or ())


def missing_facts(draft: ReviewDraft) -> list[Fault]:
    """A fault for each fact of the unit that neither the reviewer nor an earlier review states."""
    known = _facts(draft, draft.unit)
    return [
        missing(f"--{name}", hints().get(name, "a value")) for name in NEEDED if name not in known
    ]


def missing(option: str, expected: str) -> Fault:
    """An option that has no default."""
    return Fault(option, MISSING, expected, "no default is assumed")


def manifest_text(draft: ReviewDraft) -> str:
    """The manifest. Raises UserError with every fact that is missing or can't stand."""
    faults = missing_facts(draft)
    if faults:
        raise UserError("the review can't be started", faults)
    units = [_unit(draft, key) for key in draft.units]
    text = "\n\n".join([_head(draft), *units, _tracks(draft), _conditions(draft)]) + "\n"
    read_manifest(text.encode(), MANIFEST_NAME)
    return text


def begin(folder: Path, draft: ReviewDraft) -> Path:
    """Write the manifest into a folder that has none; its path. Raises UserError."""
    text = manifest_text(draft)
    refuse_begun(folder)
    path = folder / MANIFEST_NAME
    folder.mkdir(parents=True, exist_ok=True)
    write_text_file(path, text)
    return path


def refuse_begun(folder: Path) -> None:
    """Raises UserError where the folder has a manifest already."""
    path = folder / MANIFEST_NAME
    if path.exists():
        fault = Fault(str(path), "a manifest", "a folder without one", "choose another folder")
        raise UserError("the review can't be started", [fault])


def _earlier(draft: ReviewDraft, key: str) -> Unit | None:
    if draft.before is None:
        return None
    by_key = {unit.key: unit for unit in draft.before.unit}
    return by_key.get(key, draft.before.unit[0])


def _facts(draft: ReviewDraft, key: str) -> dict[str, Any]:
    """Facts of a unit: the reviewer's over those of the earlier review."""
    earlier = _earlier(draft, key)
    known: dict[str, Any] = {}
    if earlier is not None:
        same = draft.same_unit and key in {draft.unit, earlier.key}
        own = set() if same else {"serial", "notes"}
        known = earlier.model_dump(
            exclude_none=True, exclude={"key", "state", "work", "published", *own}
        )
    given = {name: value for name, value in draft.facts.items() if value is not None}
    if draft.serials:
        given["serial"] = draft.serials[draft.units.index(key)]
    return {**known, **given}


def _head(draft: ReviewDraft) -> str:
    review = table_of({"key": draft.key, "date": draft.date, "bench": draft.bench,
                       "mains_hz": draft.mains_hz})  # fmt: skip
    review.add(tomlkit.comment('title = "…"'))
    review.add(tomlkit.comment("temperature_c = 21"))
    head = "# One bench session. A value that is not written here counts as unknown."
    return f"{head}\n{block(['review'], review)}"


def _unit(draft: ReviewDraft, key: str) -> str:
    facts = _facts(draft, key)
    names = (
        "maker", "model", "serial", "kind", "technology", "topology", "made", "state", "work",
        "rated_power_w", "list_price", "notes",
    )  # fmt: skip
    unit = table_of({"key": key})
    for name in names:
        if name in facts and facts[name] not in ([], None):
            item = item_of(facts[name])
            if name in hints():
                item.comment(hints()[name])
            unit.append(name, item)
        else:
            unit.add(
                tomlkit.comment(f"{name} =" + (f" # {hints()[name]}" if name in hints() else ""))
            )
    return "\n\n".join([block(["unit"], unit, repeated=True), *_published(draft, key)])


def _published(draft: ReviewDraft, key: str) -> list[str]:
    """Published figures of the model as an earlier review had them, or one to fill in."""
    earlier = _earlier(draft, key)
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
        block(["unit", "published"], table_of(figure.model_dump(exclude_none=True)), repeated=True)
        for figure in earlier.published
    ]


def _tracks(draft: ReviewDraft) -> str:
    """The earlier review's tracks where it was of these units alone, else the outputs in order.

    Of a mono pair each unit has the output of its own track.
    """
    before = draft.before
    if before is not None and draft.same_unit and _same_units(draft, before):
        known = {n: role.model_dump(exclude_none=True) for n, role in before.tracks.items()}
        return f"{TRACKS}\n{block(['tracks'], table_of(known))}"
    of_track = draft.units if draft.partner else draft.units * len(draft.outputs)
    if draft.partner and len(draft.outputs) != len(draft.units):
        fault = Fault("--output", str(len(draft.outputs)), "two outputs, one for each unit")
        raise UserError("the review can't be started", [fault])
    roles = table_of({
        str(n): {"unit": unit, "output": output}
        for n, (unit, output) in enumerate(zip(of_track, draft.outputs, strict=True), 1)
    })  # fmt: skip
    roles.add(tomlkit.comment("3 = { generator = true }"))
    return f"{TRACKS}\n{block(['tracks'], roles)}"


def _same_units(draft: ReviewDraft, before: Manifest) -> bool:
    if draft.partner is None:
        return len(before.unit) == 1
    return {unit.key for unit in before.unit} == set(draft.units)


def _conditions(draft: ReviewDraft) -> str:
    usual = tomlkit.table()
    if draft.before is not None:
        kept = draft.before.conditions.model_dump(exclude_none=True, exclude={"minutes_on"})
        usual = table_of(kept)
    else:
        for example in ("load_ohm = 8", 'input = "aux"', 'volume = "full"'):
            usual.add(tomlkit.comment(example))
    return f"# Of every capture unless it says otherwise.\n{block(['conditions'], usual)}"
