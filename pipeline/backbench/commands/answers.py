"""Questions on a terminal: a choice by number, name or near miss; until an answer is taken."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from difflib import get_close_matches
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from backbench.backfill.map_questions import Question


def on_terminal() -> bool:
    """Whether somebody is there to answer."""
    return sys.stdin.isatty()


def choose(text: str, choices: tuple[str, ...], *, optional: bool = False) -> str:
    """One of the choices; "" for an empty answer where that is allowed."""
    typer.echo(f"{text}:" if text[-1] not in "?:." else text)
    for number, choice in enumerate(choices, start=1):
        typer.echo(f"  {number}  {choice}")
    while True:
        answer = _prompted("Number or name", optional=optional)
        if not answer:
            return ""
        chosen = _chosen(answer, choices)
        if chosen is not None:
            return chosen
        near = get_close_matches(answer.lower(), choices, n=1, cutoff=0.6)
        if near and typer.confirm(f"Did you mean {near[0]}?", default=True):
            return near[0]
        typer.echo(f"{answer!r} is none of them.")


def _chosen(answer: str, choices: tuple[str, ...]) -> str | None:
    by_name = {choice.lower(): choice for choice in choices}
    if answer.lower() in by_name:
        return by_name[answer.lower()]
    if answer.isascii() and answer.isdigit() and 1 <= int(answer) <= len(choices):
        return choices[int(answer) - 1]
    return None


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
