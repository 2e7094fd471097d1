"""Whether a unit of a sheet is one that the catalogue holds: the same, another sample, or new.

Names alone don't tell two samples of a model apart, so that somebody has to. Equal serial numbers
do: such units are the same, and units with different ones are not.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from difflib import SequenceMatcher

from backbench.backfill.column_map import ColumnMap
from backbench.backfill.parse_records import NamedUnit, SheetContents, parse_sheet
from backbench.backfill.problems import Problem
from backbench.backfill.spreadsheet import Sheet
from backbench.documents.toml_writing import with_key
from backbench.documents.unit_facts import key_of

ALIKE = 0.87
"""From how much of two names in common one may be a slip for the other."""


@dataclass(frozen=True)
class KnownUnit:
    """A unit of the catalogue."""

    key: str
    maker: str
    model: str
    serial: str | None = None

    def __str__(self) -> str:
        serial = f", serial number {self.serial}" if self.serial else ""
        return f"{self.key} ({self.maker} {self.model}{serial})"


@dataclass(frozen=True)
class UnitDecision:
    """A unit of the sheet and those of the catalogue that it may be. new_key: if it is none."""

    unit: NamedUnit
    candidates: tuple[KnownUnit, ...]
    new_key: str


@dataclass(frozen=True)
class DecidedContents:
    """A sheet read with every decision that is certain. open: what somebody has to decide."""

    contents: SheetContents
    open: list[UnitDecision]


def decided(sheet: Sheet, how: ColumnMap, known: Iterable[KnownUnit]) -> DecidedContents:
    """The sheet's contents with units under the keys of the catalogue where they are the same."""
    units = list(known)
    contents = parse_sheet(sheet, how)
    undecided = [named for label, named in contents.units.items() if label not in how.units]
    same = {n.label: k.key for n in undecided for k in units if _surely(n, k)}
    if same:
        how = how.model_copy(update={"units": {**how.units, **same}})
        contents = parse_sheet(sheet, how)
    taken = {unit.key for unit in units} | {named.key for named in contents.units.values()}
    decisions = []
    for named in undecided:
        maybe = (unit for unit in units if _maybe(named, unit))
        candidates = tuple(sorted(maybe, key=lambda unit: -_likeness(named, unit)))
        if named.label not in same and candidates:
            decisions.append(UnitDecision(named, candidates, _free(named.key, units, taken)))
    return DecidedContents(contents, decisions)


def _surely(named: NamedUnit, known: KnownUnit) -> bool:
    serial = named.facts.get("serial")
    return serial is not None and serial == known.serial and _names(named) == _model(known)


def _maybe(named: NamedUnit, known: KnownUnit) -> bool:
    serial = named.facts.get("serial")
    if named.key == known.key:
        return True
    if serial and known.serial and serial != known.serial:
        return False
    return _likeness(named, known) >= ALIKE


def _likeness(named: NamedUnit, known: KnownUnit) -> float:
    return SequenceMatcher(None, _names(named), _model(known)).ratio()


def _names(named: NamedUnit) -> str:
    return key_of(f"{named.facts['maker']} {named.facts['model']}")


def _model(known: KnownUnit) -> str:
    return key_of(f"{known.maker} {known.model}")


def _free(key: str, units: list[KnownUnit], taken: set[str]) -> str:
    """A key for a unit that is none of the catalogue's."""
    if key not in {unit.key for unit in units}:
        return key
    return next(f"{key}-{n}" for n in range(2, 10_000) if f"{key}-{n}" not in taken)


def without_undecided(
    contents: SheetContents, decisions: list[UnitDecision], source: str
) -> SheetContents:
    """The contents without the reviews of units that are still to be decided on."""
    undecided = {one.unit.key: one for one in decisions}
    kept, problems = {}, list(contents.problems)
    for key, record in contents.records.items():
        decision = next((undecided[unit] for unit in record.units if unit in undecided), None)
        if decision is None:
            kept[key] = record
            continue
        rows = ", ".join(map(str, record.rows))
        problems.append(Problem(f"{source}, row {rows}", decision.unit.label,
                                _reason(decision), _suggestion(decision)))  # fmt: skip
    return replace(contents, records=kept, problems=problems)


def _reason(decision: UnitDecision) -> str:
    known = ", ".join(map(str, decision.candidates))
    return f"may be a unit that the catalogue holds: {known}"


def _suggestion(decision: UnitDecision) -> str:
    label, same = decision.unit.label, decision.candidates[0].key
    return (f'state in the map, under [units], "{label}" = "{same}" if it is the same sample, '
            f'or = "{decision.new_key}" if it is another')  # fmt: skip


def with_decision(text: str, label: str, key: str, name: str) -> str:
    """The text of a map with one more decision. Raises UserError where its layout takes none."""
    return with_key(
        text, "units", label, key, name=name,
        remark="Which samples the units of the sheet are: a key of the catalogue, or a new one.",
    )  # fmt: skip
