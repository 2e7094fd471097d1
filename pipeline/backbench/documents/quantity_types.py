"""Values of a document that may be written as plain numbers or with their unit."""

from __future__ import annotations

from collections.abc import Callable

from pydantic import BeforeValidator

from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.reading import read_load, read_value


def in_unit(unit: str, times: float = 1.0) -> BeforeValidator:
    """A text such as "1,5 W" as a number of the key's unit; numbers stay as they are.

    times: how many of the key's own unit make one of `unit`, as 1000 ms make 1 s.
    """
    return BeforeValidator(_texts_by(lambda text: read_value(text, unit) * times))


def _texts_by(read: Callable[[str], object]) -> Callable[[object], object]:
    def validated(value: object) -> object:
        if not isinstance(value, str):
            return value
        try:
            return read(value)
        except UnreadableQuantity as error:
            raise ValueError(f"a quantity ({error.reason}) | {error.remedy}") from None

    return validated


LOAD = BeforeValidator(_texts_by(read_load))
"""A load as "16 R", "8 ohm", "open" or "high"."""
