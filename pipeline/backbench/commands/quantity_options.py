"""Options that take a quantity: a number with its unit, or a bare number of the stated unit."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import typer


def quantity(
    option: str, unit: str, help_text: str, *, least: float | None = None, most: float | None = None
) -> Any:
    """An option of one unit. least, most: the bounds in that unit, both included."""
    return typer.Option(
        option, parser=_reader(option, unit, least, most), metavar=f"<number in {unit}>",
        help=help_text,
    )  # fmt: skip


def _reader(
    option: str, unit: str, least: float | None, most: float | None
) -> Callable[[object], float]:
    """What turns the text of the option into a number. Raises UserError."""

    def read(text: object) -> float:
        if isinstance(text, (int, float)):
            return float(text)
        from backbench.errors import Fault, UserError
        from backbench.quantities.faults import UnreadableQuantity
        from backbench.quantities.reading import read_value

        expected = _expected(unit, least, most)
        try:
            value = read_value(str(text), unit, usual_unit=unit)
        except UnreadableQuantity as error:
            raise UserError("an option can't be read", [error.fault(option, expected)]) from None
        if (least is not None and value < least) or (most is not None and value > most):
            raise UserError("an option is out of range", [Fault(option, repr(text), expected)])
        return value

    return read


def _expected(unit: str, least: float | None, most: float | None) -> str:
    from backbench.quantities.writing import exact

    limits = (("at least", least), ("at most", most))
    bounds = [f"{words} {exact(value, unit)}" for words, value in limits if value is not None]
    return f"a number in {unit}" + (f", {' and '.join(bounds)}" if bounds else "")
