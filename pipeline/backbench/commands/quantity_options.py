"""Options that take a quantity: a number with its unit, or a bare number of the stated unit."""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar
from typing import Any

import typer
from typer.core import TyperCommand

from backbench.commands.words_missing import words_missing
from backbench.commands.words_too_many import words_too_many
from backbench.errors import Fault, UserError

UNREADABLE: ContextVar[list[Fault]] = ContextVar("UNREADABLE")
"""Faults of the command line that is being read."""


class AllAtOnce(TyperCommand):
    """A command that reads every option before it reports those that can't be read."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """The arguments that are left. Raises UserError with a fault for each quantity.

        Ends with a usage error where an argument is missing, or words are left that the command
        has no place for.
        """
        faults: list[Fault] = []
        before = UNREADABLE.set(faults)
        ctx.allow_extra_args = True  # so that they are refused in words of our own, below
        try:
            left: list[str] = super().parse_args(ctx, args)
        except typer.BadParameter as error:
            # Of one that is missing the parser itself has nothing to say.
            if error.message or getattr(error.param, "param_type_name", "") != "argument":
                raise
            ctx.fail(words_missing(ctx))
        finally:
            UNREADABLE.reset(before)
        if faults:
            several = len(faults) > 1
            what = "options can't be read" if several else "an option can't be read"
            raise UserError(what, faults)
        if left and not ctx.resilient_parsing:
            ctx.fail(words_too_many(ctx, left))
        return left


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
    """What turns the text of the option into a number; a fault is noted, or else raised."""

    def read(text: object) -> float:
        if isinstance(text, (int, float)):
            return float(text)
        try:
            return _value(option, str(text), unit, least, most)
        except UserError as error:
            noted = UNREADABLE.get(None)
            if noted is None:
                raise
            noted.extend(error.faults)
            return float("nan")

    return read


def _value(option: str, text: str, unit: str, least: float | None, most: float | None) -> float:
    """The number. Raises UserError."""
    from backbench.quantities.faults import UnreadableQuantity
    from backbench.quantities.reading import read_value

    expected = _expected(unit, least, most)
    try:
        value = read_value(text, unit, usual_unit=unit)
    except UnreadableQuantity as error:
        raise UserError("an option can't be read", [error.fault(option, expected)]) from None
    if (least is not None and value < least) or (most is not None and value > most):
        raise UserError("an option is out of range", [Fault(option, repr(text), expected)])
    return value


def _expected(unit: str, least: float | None, most: float | None) -> str:
    from backbench.quantities.writing import exact

    limits = (("at least", least), ("at most", most))
    bounds = [f"{words} {exact(value, unit)}" for words, value in limits if value is not None]
    return f"a number in {unit}" + (f", {' and '.join(bounds)}" if bounds else "")
