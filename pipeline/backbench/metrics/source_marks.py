"""What the source of a metric's definition is worth: read, from memory, or custom alone."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from typing import Literal

Mark = Literal["published source, read or second-hand", "from memory", "common practice"]
PUBLISHED: Mark = "published source, read or second-hand"
MEMORY: Mark = "from memory"
CUSTOM: Mark = "common practice"
MARKS = (PUBLISHED, MEMORY, CUSTOM)
_PUBLISHERS = re.compile(r"(IEC|IEEE|AES\d+|SMPTE|IHF|JCGM|Rec\. ITU)\b")


def mark_of(source: str) -> Mark:
    """The mark of a source as a metric's declaration states it. Raises ValueError without one.

    Of two sources the weaker one marks it.
    """
    if CUSTOM in source:
        return CUSTOM
    if MEMORY in source:
        return MEMORY
    if _PUBLISHERS.match(source):
        return PUBLISHED
    raise ValueError(f"the source {source!r} names no standard, nor memory, nor common practice")


def shares(sources: Iterable[str]) -> str:
    """How many of these sources have each mark, in a sentence."""
    number = Counter(mark_of(source) for source in sources)
    total = sum(number.values())
    parts = [f"{number[mark]} ({round(100 * number[mark] / total)} %) {mark}" for mark in MARKS]
    return f"Sources of the {total} metrics: {'; '.join(parts)}."
