"""Corrections that lose nothing: a review withdrawn or restored, a unit renamed, or two joined."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.settings import Settings
from backbench.documents.toml_writing import with_key
from backbench.documents.unit_facts import KEY, Unit
from backbench.documents.validation import read_checked
from backbench.errors import Fault, UserError, unknown_key
from backbench.ingest.receive import recall
from backbench.ingest.review_names import unknown_review
from backbench.ingest.withdrawn import drop_withdrawn
from backbench.storage.catalogue_paths import CataloguePaths
from backbench.storage.settings_history import change_settings
from backbench.storage.unfinished import note_finished, note_unfinished, unfinished
from backbench.storage.vault import Receipt

ALIASES = "Former keys of units, and their present keys."
"""The comment above a new [aliases]."""


def withdraw(places: CataloguePaths, review: str, reason: str) -> Receipt:
    """Leave a review out of the database, with a receipt that says why; its originals stay.

    A withdrawal that was broken off after its receipt is carried on. Raises UserError where
    there is no such review, or it is withdrawn and out of the database already.
    """
    newest = newest_receipt(places, review)
    noted = review in unfinished(places.ledger.folder)
    if newest.withdrawn is not None:
        if drop_withdrawn(places) or noted:
            note_finished(places.ledger.folder, [review])
            return newest
        fault = Fault(
            f"review {review!r}", f"withdrawn: {newest.withdrawn}", "a review that is not withdrawn"
        )
        raise UserError("the review is withdrawn already", [fault])
    receipt = _written(places, replace(newest, withdrawn=reason))
    drop_withdrawn(places)
    note_finished(places.ledger.folder, [review])
    return receipt


def restore_review(places: CataloguePaths, review: str) -> Receipt:
    """End a withdrawal; `recompute` then loads the review again. Raises UserError."""
    newest = withdrawn_receipt(places, review)
    return _written(places, replace(newest, withdrawn=None))


def withdrawn_receipt(places: CataloguePaths, review: str) -> Receipt:
    """The newest receipt of a withdrawn review. Raises UserError where it isn't one."""
    newest = newest_receipt(places, review)
    if newest.withdrawn is None:
        fault = Fault(f"review {review!r}", "a review that is not withdrawn", "a withdrawn review")
        raise UserError("the review is not withdrawn", [fault])
    return newest


def newest_receipt(places: CataloguePaths, review: str) -> Receipt:
    """The newest receipt of a review. Raises UserError where the ledger has none."""
    known = places.ledger.newest()
    if review not in known:
        raise unknown_review(review, known)
    return known[review]


def _written(places: CataloguePaths, receipt: Receipt) -> Receipt:
    note_unfinished(places.ledger.folder, [receipt.review])
    numbered = replace(receipt, number=places.ledger.next_number())
    places.ledger.write(numbered)
    return numbered


# Units ----------------------------------------------------------------------------------------


def rename_unit(places: CataloguePaths, old: str, new: str, *, joining: bool = False) -> None:
    """Keep a unit's new key in backbench.toml; the next recompute brings the database along.

    A rename that was broken off after the settings were written is carried on: nothing is
    written again. Raises UserError as renamed_settings does.
    """
    if places.settings.aliases.get(old) != new:
        text = renamed_settings(places, old, new, joining=joining)
        note_unfinished(places.ledger.folder, _reviews_of(places, old))
        change_settings(places.root, places.ledger.folder, text)


def _reviews_of(places: CataloguePaths, unit: str) -> list[str]:
    """Reviews that stand, with this unit."""
    return [one.review for key, one in _appearances(places) if key == unit]


def renamed_settings(places: CataloguePaths, old: str, new: str, *, joining: bool = False) -> str:
    """The text of backbench.toml with the unit's new key; every review is then read under it.

    joining: `new` is a unit already, and the two become one. Nothing is written.
    Raises UserError where `old` is no unit, `new` is one though none is to be joined or the other
    way about, the keys run in a circle, or a review has both.
    """
    settings = places.settings
    units = {key for key, _ in _appearances(places)}
    faults = []
    if old not in units:
        faults.append(unknown_key("unit", old, units))
    if joining and new not in units:
        faults.append(unknown_key("unit", new, units, "`backbench rename` gives a unit a new key"))
    if not joining and new in units and new != old:
        faults.append(Fault("the new key", f"{new!r}, another unit's key", "a key of its own",
                            f"`backbench join {old} {new}` makes one unit of two"))  # fmt: skip
    if not KEY.fullmatch(new):
        faults.append(
            Fault("the new key", repr(new), "lower-case letters, digits, '.', '-' and '_' only")
        )
    if settings.unit_key(new) == old:
        faults.append(Fault("the new key", repr(new), "a key that does not lead back to it",
                            f"take {new!r} out of [aliases] in {SETTINGS_NAME}"))  # fmt: skip
    if faults:
        raise UserError("the unit can't be renamed", faults)
    path = places.root / SETTINGS_NAME
    before = path.read_text(encoding="utf-8-sig")
    text = with_key(before, "aliases", old, new, remark=ALIASES, name=str(path))
    changed = read_checked(Settings, text.encode(), SETTINGS_NAME)
    _refuse_joined(places, changed)
    return text


@dataclass(frozen=True)
class Appearance:
    """A unit as one review describes it."""

    review: str
    date: dt.date
    unit: Unit


def appearances_of(places: CataloguePaths, unit: str) -> list[Appearance]:
    """A unit in every review that stands, by date. Raises UserError where there is none."""
    found = _appearances(places)
    own = [one for key, one in found if key == unit]
    if not own:
        fault = unknown_key("unit", unit, {key for key, _ in found})
        raise UserError("the unit is not known", [fault])
    return sorted(own, key=lambda one: (one.date, one.review))


def _appearances(places: CataloguePaths) -> list[tuple[str, Appearance]]:
    """Every unit of every review that stands, with its present key."""
    settings, found = places.settings, []
    for receipt in places.ledger.newest().values():
        if receipt.withdrawn is None:
            manifest = recall(receipt, places.vault)
            head = manifest.review
            found += [(settings.unit_key(unit.key), Appearance(head.key, head.date, unit))
                      for unit in manifest.unit]  # fmt: skip
    return found


def _refuse_joined(places: CataloguePaths, settings: Settings) -> None:
    from backbench.ingest.alias_resolution import under_present_keys

    for receipt in places.ledger.newest().values():
        if receipt.withdrawn is None:
            under_present_keys(recall(receipt, places.vault), settings)
