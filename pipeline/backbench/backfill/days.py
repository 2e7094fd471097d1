"""Days as a sheet writes them, by the forms that its map names; refused where two forms differ."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence

from backbench.quantities.days import FORMS, ISO, in_words, readings_of


class UnreadableDay(ValueError):
    """A text that is no day, or may be two. proposal: what to write, or state, instead."""

    def __init__(self, reason: str, proposal: str) -> None:
        super().__init__(reason)
        self.proposal = proposal


def read_day(content: object, text: str, forms: Iterable[str]) -> dt.date:
    """The day of a cell. Raises UnreadableDay.

    content: of the cell; a day of the workbook's own is taken as it is.
    """
    if isinstance(content, dt.date):
        return _past(content, text)
    readings = readings_of(text, (ISO, *forms))
    days = sorted(set(readings.values()))
    if len(days) > 1:
        both = " or ".join(map(in_words, days))
        raise UnreadableDay(f"{text!r} is {both}, by two `dates` of the map", _stated(readings))
    if days:
        return _past(days[0], text)
    possible = readings_of(text, FORMS)
    both = " or ".join(map(in_words, sorted(set(possible.values()))))
    if possible:
        raise UnreadableDay(f"{text!r} may be {both}", _stated(possible))
    raise UnreadableDay(f"{text!r} is no day", "write year, month and day, as 2004-05-11")


def _stated(readings: dict[str, dt.date]) -> str:
    ways = ", ".join(f'"{form}" for {in_words(day)}' for form, day in readings.items())
    return f"state one way of writing days as `dates` in the map: {ways}"


def _past(day: dt.date, text: str) -> dt.date:
    if day <= dt.date.today():
        return day
    reason = f"{text!r} would be {in_words(day)}, which is still to come"
    raise UnreadableDay(reason, "write the year with four digits")


def forms_of(texts: Sequence[str]) -> list[list[str]]:
    """The forms that days of a column are written in: one list for each way, all that fit it.

    Forms that read the same day from every text of a way stand once. A list of two says that the
    column doesn't settle whether the day or the month comes first.
    """
    left = [text for text in dict.fromkeys(texts) if not readings_of(text, (ISO,))]
    ways: list[list[str]] = []
    while left:
        counts = {form: sum(bool(readings_of(text, (form,))) for text in left) for form in FORMS}
        most = max(counts.values())
        if most == 0:
            break
        best = next(form for form in FORMS if counts[form] == most)
        read = [text for text in left if readings_of(text, (best,))]
        days = {form: [readings_of(text, (form,)).get(form) for text in read] for form in FORMS}
        equal = [form for form in FORMS if counts[form] and None not in days[form]]
        ways.append(_different(equal, days))
        left = [text for text in left if text not in read]
    return ways


def _different(forms: list[str], days: dict[str, list[dt.date | None]]) -> list[str]:
    kept: list[str] = []
    for form in forms:
        if all(days[form] != days[other] for other in kept):
            kept.append(form)
    return kept
