"""Corrections that lose nothing: a review withdrawn or restored, a unit renamed or merged."""

from __future__ import annotations

from dataclasses import replace

from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.settings import Settings
from backbench.documents.toml_writing import with_key
from backbench.documents.unit_facts import KEY
from backbench.documents.validation import checked, measures, parse_toml
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


def rename_unit(places: CataloguePaths, old: str, new: str) -> None:
    """Keep a unit's new key in backbench.toml; the next recompute brings the database along.

    A rename that was broken off after the settings were written is carried on: nothing is
    written again. Raises UserError as renamed_settings does.
    """
    if places.settings.aliases.get(old) != new:
        text = renamed_settings(places, old, new)
        note_unfinished(places.ledger.folder, _reviews_of(places, old))
        change_settings(places.root, places.ledger.folder, text)


def _reviews_of(places: CataloguePaths, unit: str) -> list[str]:
    """Reviews that stand, with this unit."""
    settings = places.settings
    return [
        receipt.review
        for receipt in places.ledger.newest().values()
        if receipt.withdrawn is None
        and unit in {settings.unit_key(one.key) for one in recall(receipt, places.vault).unit}
    ]


def renamed_settings(places: CataloguePaths, old: str, new: str) -> str:
    """The text of backbench.toml with the unit's new key; every review is then read under it.

    Where `new` is a unit already, the two become one. Nothing is written.
    Raises UserError where `old` is no unit, the keys run in a circle, or a review has both.
    """
    settings = places.settings
    units = {
        settings.unit_key(unit.key)
        for receipt in places.ledger.newest().values() if receipt.withdrawn is None
        for unit in recall(receipt, places.vault).unit
    }  # fmt: skip
    faults = []
    if old not in units:
        faults.append(unknown_key("unit", old, units))
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
    changed = checked(Settings, measures(parse_toml(text.encode(), SETTINGS_NAME)), SETTINGS_NAME)
    _refuse_joined(places, changed)
    return text


def _refuse_joined(places: CataloguePaths, settings: Settings) -> None:
    from backbench.ingest.alias_resolution import under_present_keys

    for receipt in places.ledger.newest().values():
        if receipt.withdrawn is None:
            under_present_keys(recall(receipt, places.vault), settings)
