"""Answers on a terminal: a choice, a text, a key, a quantity; each until it can be taken."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from backbench.backfill.map_questions import Question


def on_terminal() -> bool:
    """Whether somebody is there to answer."""
    return sys.stdin.isatty()


def choose(
    text: str, choices: Sequence[str], *, optional: bool = False, given: str | None = None
) -> str:
    """One of the choices; "" for an empty answer where that is allowed.

    given: what was written before, which may be one of them already.
    """
    if given is not None and (chosen := chosen_of(given, choices)) is not None:
        return chosen
    typer.echo(f"{text}:" if text[-1] not in "?:." else text)
    for number, choice in enumerate(choices, start=1):
        typer.echo(f"  {number}  {choice}")
    while True:
        answer = _prompted("Number or name", optional=optional)
        if not answer:
            return ""
        chosen = chosen_of(answer, choices)
        if chosen is not None:
            return chosen


def chosen_of(answer: str, choices: Sequence[str]) -> str | None:
    """The choice that an answer means, by number, name or near miss; says what is read, or not."""
    from backbench.bench_day.review_request import likely

    chosen = _numbered(answer, choices) or likely(answer, choices)
    if chosen is None:
        typer.echo(f"  {answer!r} is none of these")
    elif chosen.casefold() != answer.casefold() and not answer.isdigit():
        typer.echo(f"  {answer!r} is read as {chosen!r}")
    return chosen


def _numbered(answer: str, choices: Sequence[str]) -> str | None:
    """The choice of a number from 1; None where the answer is no such number."""
    number = int(answer) if answer.isascii() and answer.isdigit() else 0
    return choices[number - 1] if 1 <= number <= len(choices) else None


def _prompted(text: str, *, optional: bool) -> str:
    text = f"{text} (empty: leave it open)" if optional else text
    answer = typer.prompt(text, default="" if optional else None, show_default=False)
    return str(answer).strip()


def ask_all(questions: Iterable[Question]) -> None:
    """Every question, each until its answer is taken."""
    for question in questions:
        while True:
            try:
                question.take(_answer(question))
                break
            except ValueError as error:
                typer.echo(str(error))


def _answer(question: Question) -> str:
    if question.choices:
        return choose(question.text, question.choices, optional=question.optional)
    return _prompted(question.text, optional=question.optional)


def text_answer(question: str) -> str:
    """An answer that isn't empty."""
    while True:
        answer = str(typer.prompt(question)).strip()
        if answer:
            return answer


def key_answer(name: str) -> str:
    """A key for a name; the one that is proposed, or another."""
    from backbench.documents.unit_facts import KEY, key_of

    answer = name
    while True:
        default = key_of(answer) or None
        answer = str(typer.prompt(f"Your key for {name}", default=default)).strip()
        if KEY.fullmatch(answer):
            return answer
        typer.echo("  a key has small letters, digits, '.', '-' and '_' only")


def quantity_answer(question: str, unit: str, default: str | None) -> float | None:
    """A number with or without its unit; None for an empty answer where that is allowed."""
    from backbench.quantities.faults import UnreadableQuantity
    from backbench.quantities.reading import read_value

    while True:
        answer = str(typer.prompt(question, default=default, show_default=False)).strip()
        if not answer and default is not None:
            return None
        try:
            return read_value(answer, unit, usual_unit=unit)
        except UnreadableQuantity as error:
            typer.echo(f"  {error.fault(repr(answer), f'a number in {unit}')}")
