"""A key in the wrong table is refused with the place where it belongs."""

from __future__ import annotations

import pytest
from pydantic import BaseModel

from backbench.documents.accepted_manifest import accepted_manifest
from backbench.documents.key_places import KeyPlace, key_places
from backbench.documents.manifest import Manifest, read_manifest
from backbench.documents.settings import Settings
from backbench.documents.validation import checked
from backbench.errors import UserError
from faults.small_catalogue import MANIFEST

SOUND = MANIFEST.format(key="auk", version=0, drive=0.1)
PUBLISHED = 'metric = "thd"\nat_most = "1 %"\nprinted_in = "leaflet"\n'
UNDER_UNIT = "\n[tracks]"
MISPLACED = {
    "at the top": ("", f"[[published]]\n{PUBLISHED}", "write it as [[unit.published]]"),
    "in a capture": ("", f"[[capture.published]]\n{PUBLISHED}", "write it as [[unit.published]]"),
    "in the review": ("mains_hz = 50\n", "load_ohm = 8\n", "write it in [conditions] or"),
    "conditions of a unit": (UNDER_UNIT, "[unit.conditions]\ntone = 1\n",
                             "write it as [conditions] or as conditions = { } in [[capture]]"),
    "price at the top": ("", "[list_price]\namount = 1\n", "list_price = { } in [[unit]]"),
    "stimulus at the top": ("", "[stimulus]\ntone_hz = 1\n", "stimulus = { } in [[capture]]"),
    "tone of a capture": ('file = "tone.wav"\n', "tone_hz = 1\n",
                          "in stimulus = { } of [[capture]]"),
    "conditions of a figure": (UNDER_UNIT, f"[[unit.published]]\nfrequency_hz = 1000\n{PUBLISHED}",
                               "write it in at = { } of [[unit.published]] or"),
    "photograph of a capture": ("", '[[capture.photograph]]\nfile = "a.png"\n',
                                "write it as [[photograph]]"),
    "no table of a unit": (UNDER_UNIT, f"[unit.published]\n{PUBLISHED}",
                           "found one table; expected any number of them; "
                           "write [[unit.published]] above each"),
}  # fmt: skip
"""Text of a sound manifest, what is put beside it (before a heading, behind a line), the remedy."""


@pytest.mark.parametrize("case", MISPLACED)
def test_a_key_in_the_wrong_table(case: str) -> None:
    beside, text, remedy = MISPLACED[case]
    before = beside == UNDER_UNIT
    both = f"\n{text}{beside}" if before else f"{beside}{text}"
    changed = SOUND.replace(beside, both, 1) if beside else f"{SOUND}\n{text}"
    with pytest.raises(UserError) as raised:
        read_manifest(changed.encode())
    assert any(remedy in str(fault) for fault in raised.value.faults), str(raised.value)


@pytest.mark.parametrize(
    ("right", "wrong", "remedy"),
    [
        ("[[unit]]", "[unit]", "write [[unit]] above each"),
        ("[review]", "[[review]]", "found a list of tables; expected one table; write [review]"),
        ("[tracks]", "[[tracks]]", "write [tracks], once"),
    ],
)
def test_a_heading_with_the_wrong_brackets(right: str, wrong: str, remedy: str) -> None:
    with pytest.raises(UserError, match="found") as raised:
        accepted_manifest(SOUND.replace(right, wrong).encode())
    assert remedy in str(raised.value)


def misplaced(model: type[BaseModel]) -> list[KeyPlace]:
    """The keys that don't stand in the first lines of a document."""
    outer = {one.key for one in key_places(model) if not one.table}
    return [one for one in key_places(model) if one.key not in outer]


@pytest.mark.parametrize("model", [Manifest, Settings])
def test_every_key_at_the_top_is_told_a_place_that_is_its_own(model: type[BaseModel]) -> None:
    keys = misplaced(model)
    assert len(keys) > 20
    for one in keys:
        table = [{"x": 1.0}] if one.is_list else {"x": 1.0}
        with pytest.raises(UserError) as raised:
            checked(model, {one.key: table if one.is_table else 1.0}, "document")
        (fault,) = [f for f in raised.value.faults if f.found == f"the unknown key {one.key!r}"]
        alike = [p for p in key_places(model) if p.key == one.key and p.is_table == one.is_table]
        assert fault.remedy.startswith("write it "), fault
        assert any(str(place) in fault.remedy for place in alike), fault


@pytest.mark.parametrize(("wrong", "meant"), [("Review", "review"), ("Lreview", "review")])
def test_a_key_that_begins_with_a_capital(wrong: str, meant: str) -> None:
    with pytest.raises(UserError) as raised:
        read_manifest(SOUND.replace("[review]", f"[{wrong}]", 1).encode())
    line = next(str(fault) for fault in raised.value.faults if "unknown key" in str(fault))
    assert f"unknown key '{wrong}'" in line
    assert f"did you mean {meant}?" in line
