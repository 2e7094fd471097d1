"""What a reviewer asked for when a review is begun, held against what may stand there."""

from __future__ import annotations

import datetime as dt
import difflib
import shlex
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from backbench.bench_day.known_units import earlier_manifest
from backbench.bench_day.new_review import (
    ReviewDraft,
    missing,
    missing_facts,
    partner_of,
    refuse_begun,
    serials_of,
)
from backbench.documents.settings import Settings
from backbench.documents.unit_facts import KEY, also_called, choices, key_of
from backbench.errors import MISSING, Fault, UserError
from backbench.quantities.days import EXPECTED, how_to_write
from backbench.storage.catalogue_paths import CataloguePaths

NEAR = 0.75
"""How like a choice a text must be, from 0 to 1, to be read as it."""


@dataclass(frozen=True)
class ReviewRequest:
    """As it was written; nothing is checked yet. facts: of the unit, as the manifest names them."""

    folder: Path
    catalogue: Path
    units: tuple[str, ...] = ()
    key: str | None = None
    date: str | None = None
    bench: str | None = None
    mains_hz: float | None = None
    serials: tuple[str, ...] = ()
    outputs: tuple[str, ...] = ()
    facts: dict[str, Any] = field(default_factory=dict)

    def command_line(self) -> str:
        """The command with all that is known, to be run again."""
        words = ["backbench", "new", str(self.folder)]
        several = {"unit": self.units, "serial": self.serials, "output": self.outputs}
        for name, values in several.items():
            words += [word for value in values for word in (f"--{name}", value)]
        single = {"key": self.key, "date": self.date, "bench": self.bench}
        for name, value in {**single, "mains_hz": self.mains_hz, **self.facts}.items():
            option = f"--{name.replace('_', '-')}"
            listed = value if isinstance(value, list) else [] if value is None else [value]
            words += [word for one in listed for word in (option, _written(one))]
        if self.catalogue != Path():
            words += ["-c", str(self.catalogue)]
        return shlex.join(words)


def _written(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def likely(text: str, choices: Sequence[str]) -> str | None:
    """The choice that a text means: itself, its beginning, another word, or a near miss."""
    return meant(text, choices) or near_miss(text, choices)


def meant(text: str, choices: Sequence[str]) -> str | None:
    """The choice that a text surely means: itself, its beginning, or another word for it."""
    plain, by_words = _words(text), {_words(choice): choice for choice in choices}
    if plain in by_words:
        return by_words[plain]
    other = _other_words().get(plain)
    if other is not None and other in choices:
        return other
    begun = [words for words in by_words if len(plain) > 1 and words.startswith(plain)]
    return by_words[begun[0]] if len(begun) == 1 else None


def near_miss(text: str, choices: Sequence[str]) -> str | None:
    """The choice that a text is most like, if it is like enough."""
    plain, by_words = _words(text), {_words(choice): choice for choice in choices}
    begun = any(len(plain) > 1 and words.startswith(plain) for words in by_words)
    if not begun and any(plain in words.split() for words in by_words):
        return None  # "amplifier" may be any of several.
    near = difflib.get_close_matches(plain, by_words, n=1, cutoff=NEAR)
    return by_words[near[0]] if near else None


def _other_words() -> dict[str, str]:
    """The word of a manifest by each of the others that the trade has for it."""
    meanings = [pair for words in also_called().values() for pair in words.items()]
    return {_words(other): word for word, others in meanings for other in others}


def _words(text: str) -> str:
    return " ".join(text.casefold().replace("-", " ").replace("_", " ").split())


def maker_and_model(text: str) -> tuple[str, str]:
    """A name of two words or more as maker and model; empty texts of a single word."""
    words = text.split()
    return (words[0], " ".join(words[1:])) if len(words) > 1 else ("", "")


def draft_of(request: ReviewRequest, places: CataloguePaths, settings: Settings) -> ReviewDraft:
    """The review begun. Raises UserError with everything that is missing or can't stand."""
    facts = request.facts
    first = request.units[0] if request.units else ""
    before, same = earlier_manifest(
        places, settings, first, facts.get("maker"), facts.get("model")
    )  # fmt: skip
    benches = sorted(settings.bench)
    bench = request.bench or (benches[0] if len(benches) == 1 else "")
    mains = request.mains_hz or (before.review.mains_hz if before else None)
    faults = [
        *_unit_faults(request), *_pair_faults(request), *_folder_faults(request.folder),
        *_bench_faults(bench, benches), *_date_faults(request.date),
        *choice_faults(facts),
    ]  # fmt: skip
    if mains is None:
        faults.append(missing("--mains-hz", "50 or 60"))
    draft = ReviewDraft(
        key=request.key or key_of(request.folder.resolve().name), date=day_of(request.date),
        bench=bench, mains_hz=mains or 0.0, unit=first, facts=facts, before=before,
        same_unit=same, outputs=request.outputs or ("left", "right"),
        partner=request.units[1] if len(request.units) == 2 else None, serials=request.serials,
    )  # fmt: skip
    faults += missing_facts(draft)
    if not KEY.fullmatch(draft.key):
        faults.append(Fault("--key", repr(draft.key), "small letters, digits, '.', '-' and '_'"))
    if faults:
        raise UserError("the review can't be started", faults)
    return draft


def day_of(text: str | None) -> dt.date:
    """A date; today where there is none, or it can't be read."""
    try:
        return dt.date.fromisoformat(text) if text else dt.date.today()
    except ValueError:
        return dt.date.today()


def _date_faults(text: str | None) -> Iterator[Fault]:
    try:
        if text:
            dt.date.fromisoformat(text)
    except ValueError:
        yield Fault("--date", repr(text), EXPECTED, how_to_write(str(text)))


def _unit_faults(request: ReviewRequest) -> Iterator[Fault]:
    if not request.units:
        yield missing("--unit", "your own key for the unit, such as heron-40")
    for unit in request.units:
        if not KEY.fullmatch(unit):
            key, (maker, model) = key_of(unit), maker_and_model(unit)
            named = (
                f" --maker {shlex.quote(maker)} --model {shlex.quote(str(model))}" if maker else ""
            )
            remedy = f"write --unit {key}{named}" if key else ""
            yield Fault("--unit", repr(unit), "small letters, digits, '.', '-' and '_'", remedy)


def _pair_faults(request: ReviewRequest) -> Iterator[Fault]:
    units = list(request.units)
    for test in (lambda: partner_of(units), lambda: serials_of(list(request.serials), units)):
        try:
            if units:
                test()
        except UserError as error:
            yield from error.faults
    if len(units) == 2 and request.outputs and len(request.outputs) != 2:
        yield Fault("--output", str(len(request.outputs)), "two outputs, one for each unit")


def _folder_faults(folder: Path) -> Iterator[Fault]:
    try:
        refuse_begun(folder)
    except UserError as error:
        yield from error.faults


def _bench_faults(bench: str, known: list[str]) -> Iterator[Fault]:
    if bench not in known:
        near = likely(bench, known) if bench else None
        remedy = f"did you mean {near}?" if near else "describe it in backbench.toml first"
        listed = f"one of: {', '.join(known)}" if known else "a bench of backbench.toml"
        yield Fault("--bench", repr(bench) if bench else MISSING, listed, remedy)


def choice_faults(facts: dict[str, Any]) -> Iterator[Fault]:
    """Facts that are none of their choices, each with the one that was likely meant."""
    for name, known in choices().items():
        given = facts.get(name)
        if given is not None and given not in known:
            near = likely(given, known)
            remedy = f"did you mean {near}?" if near else ""
            yield Fault(f"--{name}", repr(given), f"one of: {', '.join(known)}", remedy)
