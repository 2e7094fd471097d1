"""The numbered steps of the schema, as shipped with the program."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources

from backbench.errors import Fault, UserError

Step = tuple[int, str, str]
"""Number, file name and text."""
LEDGER_OF_MIGRATIONS = (
    "CREATE TABLE IF NOT EXISTS migration "
    "(number INTEGER NOT NULL, name VARCHAR NOT NULL, checksum VARCHAR NOT NULL)"
)


@cache
def migrations() -> tuple[Step, ...]:
    """The numbered SQL files: number, file name, text. Read once: every opening asks for them."""
    files = [f for f in resources.files("backbench.schema").iterdir() if f.name.endswith(".sql")]
    ordered = sorted(files, key=lambda f: f.name)
    return tuple((int(f.name[:4]), f.name, f.read_text(encoding="utf-8")) for f in ordered)


@cache
def checksum(text: str) -> str:
    """What is kept of a step's text, to know another version's step by."""
    return hashlib.sha256(text.encode()).hexdigest()


def refuse_strange(applied: Mapping[int, str], shipped: Sequence[Step], database: str) -> None:
    """Raises UserError where a step that was applied is unknown or differs."""
    known = {number: checksum(text) for number, _, text in shipped}
    strange = [number for number, found in applied.items() if known.get(number) != found]
    if strange:
        fault = Fault(
            database, f"schema step {max(strange)}", f"steps up to {max(known)} as shipped",
            "upgrade backbench, or make the database anew with `backbench rebuild`",
        )  # fmt: skip
        raise UserError("the database was made by another version of backbench", [fault])


def refuse_older(applied: Mapping[int, str], shipped: Sequence[Step], database: str) -> None:
    """Raises UserError where steps are missing: only a writer may bring the schema up to date."""
    missing = [number for number, _, _ in shipped if number not in applied]
    if missing:
        found, expected = f"schema step {max(applied, default=0)}", f"step {max(missing)}"
        remedy = "`backbench recompute` brings it up to date"
        fault = Fault(database, found, expected, remedy)
        raise UserError("the database was made by an older version of backbench", [fault])
