"""A proposed map as the text of its file: what is open stands there as comments."""

from __future__ import annotations

from backbench.backfill.map_questions import COVERAGES, WORDS_OF_FACT
from backbench.backfill.proposed_map import Proposal, ProposedFact, ProposedReading
from backbench.documents.toml_writing import lines_of
from backbench.documents.unit_facts import choices
from backbench.metrics.registry import registry
from backbench.quantities.days import in_words, readings_of
from backbench.quantities.units import symbol


def map_text(proposal: Proposal) -> str:
    """The map as TOML. It reads back as soon as nothing is open."""
    head = [
        f"# Proposed from {proposal.source}: look through it, correct it, and complete what is",
        '# marked with "needed". Then run `backbench backfill` again with this map.',
        *_head(proposal),
    ]
    blocks = [
        "\n".join(head),
        "\n".join(["[review]", *_facts(proposal, "review")]),
        "\n".join(["[unit]", *_facts(proposal, "unit")]),
        *("\n".join(["[[reading]]", *_reading(one)]) for one in proposal.readings),
    ]
    if not proposal.readings:
        blocks.append("# needed: a [[reading]] for each column of figures; no heading names one\n"
                      "# (`backbench metrics` lists them).")  # fmt: skip
    if proposal.unused:
        names = ", ".join(proposal.unused)
        blocks.append(f"# Not used, as their headings name nothing known here: {names}")
    return "\n\n".join(blocks) + "\n"


def _line(name: str, value: object) -> str:
    return lines_of({name: value})


def _head(proposal: Proposal) -> list[str]:
    lines = [_line("sheet", proposal.sheet)] if proposal.sheet else []
    lines.append(_line("header_row", proposal.header_row))
    if proposal.heading_rows > 1:
        lines.append(_line("heading_rows", proposal.heading_rows))
    if proposal.dates:
        lines.append(_line("dates", proposal.dates))
    for cell, forms in proposal.unsettled:
        lines.append(f"# needed: one of these, for {cell.text} in {cell.address}")
        lines += [
            f"# {_line('dates', [*proposal.dates, form])}  # {in_words(day)}"
            for form, day in readings_of(cell.text, forms).items()
        ]
    return lines


def _facts(proposal: Proposal, group: str) -> list[str]:
    lines = []
    for name, fact in proposal.facts.items():
        if name.startswith(f"{group}."):
            lines += _fact(name.split(".")[1], fact)
    for name in proposal.missing:
        if name.startswith(f"{group}."):
            short = name.split(".")[1]
            known = f": {', '.join(choices()[short])}" if short in choices() else ""
            example = "50" if short == "mains_hz" else '"…"'
            lines.append(
                f"# {short} = {{ always = {example} }}  # needed: the {WORDS_OF_FACT[name]}{known}"
            )
    return lines


def _fact(name: str, fact: ProposedFact) -> list[str]:
    value = {"column": fact.column, "always": fact.always, "words": fact.words or None}
    lines = [
        f"# {word!r} ({times}×) has no meaning in `words` yet: {', '.join(choices()[name])}"
        for word, times in fact.unknown.items()
    ]
    return [*lines, _line(name, value)]


def _reading(reading: ProposedReading) -> list[str]:
    named = reading.named
    lines = [_line("column", reading.column), _line("metric", named.metric)]
    if named.unit is not None:
        lines.append(_line("unit", named.unit))
    elif reading.bare is not None:
        unit = registry().metrics[named.metric].unit
        lines.append(f'# unit = "{symbol(unit)}"  # needed: the unit of numbers such as '
                     f"{reading.bare.text} in {reading.bare.address}")  # fmt: skip
    lines.append(_line("output", named.output))
    if named.at:
        lines.append(_line("at", named.at))
    if reading.negate:
        lines.append(_line("negate", True))
    return [*lines, *_uncertainty(reading)]


def _uncertainty(reading: ProposedReading) -> list[str]:
    if reading.spread_column is None:
        return []
    line = _line("uncertainty_column", reading.spread_column)
    if reading.coverage is not None:
        return [line, _line("uncertainty_coverage", reading.coverage)]
    covers = ", ".join(f"{factor:g} for {what}" for what, factor in COVERAGES.items())
    return [f"# {line}", f"# uncertainty_coverage = 2  # needed beside it: {covers}"]
