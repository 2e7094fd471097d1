"""The label of a unit: maker and model, and what tells units of one model apart."""

from __future__ import annotations

from typing import Any

import pytest

from backbench.storage.database import reading


@pytest.mark.parametrize(
    ("keys", "labels"),
    [
        (["m30"], ["Quarrel M30"]),
        (["m30-left", "m30-right"], ["Quarrel M30, left", "Quarrel M30, right"]),
        (["q-left-1", "q-left-2", "q-right-1"], [f"Quarrel M30, {k}" for k in
                                                ("left-1", "left-2", "right-1")]),
        (["abel", "ablaut"], ["Quarrel M30, abel", "Quarrel M30, ablaut"]),
        (["m30", "m30-b"], ["Quarrel M30, m30", "Quarrel M30, m30-b"]),
    ],
)  # fmt: skip
def test_labels_tell_units_apart(given: Any, keys: list[str], labels: list[str]) -> None:
    for key in keys:
        given.unit(key, maker="Quarrel", model="M30")
    with reading(given.build()) as store:
        assert store.rows("SELECT label FROM peer ORDER BY unit_key") == [(x,) for x in labels]
