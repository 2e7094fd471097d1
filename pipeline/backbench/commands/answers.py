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
    """The choice that an answer means, by number or name; a near miss is asked about."""
    from backbench.bench_day.review_request import meant, near_miss

    chosen = _numbered(answer, choices) or meant(answer, choices)
    if chosen is None:
        near = near_miss(answer, choices)
        if near is not None and typer.confirm(f"  {answer!r}: is {near!r} meant?", default=True):
            return near
        typer.echo(f"  {answer!r} is none of these")
    elif chosen.casefold() != answer.casefold() and not answer.isdigit():
        _read_as(answer, chosen)
    return chosen


def _numbered(answer: str, choices: Sequence[str]) -> str | None:
    """The choice of a number from 1; None where the answer is no such number."""
    number = int(answer) if answer.isascii() and answer.isdigit() else 0
    return choices[number - 1] if 1 <= number <= len(choices) else None


NEEDED = "  an answer is needed here; Ctrl-C ends the questions"


def _prompted(text: str, *, optional: bool = False) -> str:
    """An answer; empty only where it may be left open."""
    text = f"{text} (Enter alone: leave it open)" if optional else text
    while True:
        answer = str(typer.prompt(text, default="", show_default=False)).strip()
        if answer or optional:
            return answer
        typer.echo(NEEDED)


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
    from backbench.bench_day.review_request import near_miss

    if question.word and (near := near_miss(question.word, question.choices)) is not None:
        typer.echo(question.text)
        if typer.confirm(f"  {question.word!r}: is {near!r} meant?", default=True):
            return near
    if question.choices:
        return choose(question.text, question.choices, optional=question.optional)
    return _prompted(question.text, optional=question.optional)


def text_answer(question: str) -> str:
    """An answer that isn't empty."""
    return _prompted(question)


def key_answer(question: str, proposed: str) -> str:
    """A key: the one that is made from what is proposed, or another."""
    from backbench.documents.unit_facts import KEY, key_of

    answer = proposed
    while True:
        default = key_of(answer)
        answer = str(typer.prompt(question, default=default, show_default=bool(default))).strip()
        if KEY.fullmatch(answer):
            return answer
        typer.echo("  a key has small letters, digits, '.', '-' and '_' only")


def day_answer(text: str) -> str:
    """A day as year-month-day, from what was written for it; asked where it may be two."""
    from backbench.quantities.days import days_meant, in_words

    answer = text
    while True:
        days = days_meant(answer)
        if len(days) == 1:
            return _read_as(answer, days[0].isoformat())
        if days:
            by_words = {in_words(day): day.isoformat() for day in days}
            return by_words[choose(f"{answer!r} is which day?", tuple(by_words))]
        typer.echo(f"  {answer!r} is no day; write year-month-day, such as 2024-05-11")
        answer = _prompted("Date of the session")


def _read_as(answer: str, chosen: str) -> str:
    """The choice; said where it isn't what was typed."""
    if chosen != answer:
        typer.echo(f"  {answer!r} is read as {chosen!r}")
    return chosen


def quantity_answer(question: str, unit: str, *, optional: bool = False) -> float | None:
    """A number with or without its unit; None for an empty answer where that is allowed."""
    from backbench.quantities.faults import UnreadableQuantity
    from backbench.quantities.reading import read_value

    while True:
        answer = _prompted(question, optional=optional)
        if not answer:
            return None
        try:
            return read_value(answer, unit, usual_unit=unit)
        except UnreadableQuantity as error:
            typer.echo(f"  {error.fault(repr(answer), f'a number in {unit}')}")
