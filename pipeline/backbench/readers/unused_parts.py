"""Columns and tracks of a file that nothing declares, named in one remark."""

from __future__ import annotations

from collections.abc import Sequence

from backbench.documents.validation import shortened
from backbench.quantities.counts import counted

BEGINNING = "the file holds "
"""Of every such remark, by which it is found among others."""
MOST_NAMED = 5


def unused_parts(word: str, names: Sequence[str], why: str) -> str | None:
    """A remark that names parts of a file without a use; None where there are none.

    word: what a part is, "column" or "track". why: in what way it is left out.
    """
    if not names:
        return None
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    # A semicolon parts one remark from the next.
    some = ", ".join(names[:MOST_NAMED]).replace(";", ",")
    shown = some if all(name.isdigit() for name in names) else shortened(some, 120)
    return f"{BEGINNING}{counted(len(names), word)} {why}: {shown}{more}"
