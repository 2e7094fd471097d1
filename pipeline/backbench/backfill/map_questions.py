"""What a proposed map still lacks, one question for each thing, with its choices."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from backbench.backfill.days import read_day
from backbench.backfill.proposed_map import Proposal, ProposedFact, ProposedReading
from backbench.backfill.row_facts import UNIT_OF_NUMBER
from backbench.documents.unit_facts import choices, key_of
from backbench.metrics.registry import registry
from backbench.quantities.counts import counted
from backbench.quantities.days import in_words, readings_of
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.reading import read_quantity, read_value
from backbench.quantities.units import symbol

WORDS_OF_FACT = {
    "review.date": "day of the session, as 2004-05-11",
    "review.bench": "bench (your name for it, or for the notebook)",
    "review.mains_hz": "mains frequency", "unit.maker": "maker", "unit.model": "model",
    "unit.kind": "kind of unit", "unit.technology": "technology of the output stage",
    "unit.state": "state of the unit",
}  # fmt: skip


@dataclass(frozen=True)
class Question:
    """text: what is asked. choices: the possible answers; none where any text may be one.

    take: puts an answer into the proposal; raises ValueError, worded for who answered. optional:
    an empty answer leaves it open. word: what the sheet has, perhaps one of the choices misspelt.
    """

    text: str
    choices: tuple[str, ...]
    take: Callable[[str], None]
    optional: bool = False
    word: str = ""


def questions(proposal: Proposal) -> Iterator[Question]:
    """Everything that the sheet leaves open, in the order of the map."""
    for cell, forms in list(proposal.unsettled):
        days = {in_words(day): form for form, day in readings_of(cell.text, forms).items()}
        yield Question(f"{cell.text!r} in {cell.address} is which day?", tuple(days),
                       _day_taker(proposal, days))  # fmt: skip
    for name in proposal.missing:
        yield _of_fact(proposal, name)
    for name, fact in proposal.facts.items():
        for word, times in list(fact.unknown.items()):
            short = name.split(".")[1]
            text = f"{word!r} in {fact.column!r} ({counted(times, 'row')}) means which {short}?"
            yield Question(text, choices()[short], _word_taker(fact, word), optional=True,
                           word=word)  # fmt: skip
    for reading in proposal.readings:
        yield from _of_reading(reading)


def _of_fact(proposal: Proposal, name: str) -> Question:
    short = name.split(".")[1]
    known = choices().get(short, ("50", "60") if short == "mains_hz" else ())
    text = f"No column has the {WORDS_OF_FACT[name]}. For all rows"

    def take(answer: str) -> None:
        value: str | float = answer
        if short in UNIT_OF_NUMBER:
            try:
                value = read_value(answer, UNIT_OF_NUMBER[short], usual_unit=UNIT_OF_NUMBER[short])
            except UnreadableQuantity as error:
                raise ValueError(str(error)) from None
        if short == "date":
            read_day(answer, answer, ())
        if short == "bench":
            value = key_of(answer)
        proposal.facts[name] = ProposedFact(always=value)

    return Question(text, known, take)


def _of_reading(reading: ProposedReading) -> Iterator[Question]:
    unit = registry().metrics[reading.named.metric].unit
    if reading.bare is not None:
        text = (f"Unit of the bare numbers in {reading.column!r}, such as {reading.bare.text} in "
                f"{reading.bare.address}? For example {symbol(unit)}")  # fmt: skip
        yield Question(text, (), _unit_taker(reading, unit))
    if reading.spread_column is not None and reading.coverage is None:
        yield Question(f"What do the uncertainties in {reading.spread_column!r} cover?",
                       tuple(COVERAGES), _coverage_taker(reading))  # fmt: skip


COVERAGES = {"a standard deviation": 1.0, "95 %": 2.0}
"""Coverage factors (JCGM 100:2008, 6.2 and 6.3.3)."""


def _day_taker(proposal: Proposal, days: dict[str, str]) -> Callable[[str], None]:
    def take(answer: str) -> None:
        proposal.dates.append(days[answer])
        proposal.unsettled = [one for one in proposal.unsettled if days[answer] not in one[1]]

    return take


def _word_taker(fact: ProposedFact, word: str) -> Callable[[str], None]:
    def take(answer: str) -> None:
        if answer:
            fact.words[word] = answer
            del fact.unknown[word]

    return take


def _unit_taker(reading: ProposedReading, unit: str) -> Callable[[str], None]:
    def take(answer: str) -> None:
        try:
            read_quantity(f"5 {answer}", unit, load_ohm=reading.named.at.get("load_ohm"))
        except UnreadableQuantity as error:
            raise ValueError(str(error)) from None
        reading.named.unit, reading.bare = answer, None

    return take


def _coverage_taker(reading: ProposedReading) -> Callable[[str], None]:
    def take(answer: str) -> None:
        reading.coverage = COVERAGES[answer]

    return take
