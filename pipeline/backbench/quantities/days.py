"""Days as people write them, and every day that such a text may be."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

ISO = "%Y-%m-%d"
FORMS = (
    "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%m-%d-%Y", "%Y/%m/%d", "%Y.%m.%d",
    "%d.%m.%y", "%d/%m/%y", "%m/%d/%y", "%d-%m-%y", "%m-%d-%y",
    "%d %B %Y", "%d %b %Y", "%B %d, %Y", "%b %d, %Y", "%d-%b-%Y", "%d-%b-%y",
)  # fmt: skip
"""The usual ways of writing days, beside year-month-day."""
EXPECTED = "a date as year-month-day, such as 2024-05-11"


def readings_of(text: str, forms: Iterable[str]) -> dict[str, dt.date]:
    """The day that each form makes of a text; forms that don't fit are left out."""
    found: dict[str, dt.date] = {}
    for form in forms:
        try:
            found[form] = dt.datetime.strptime(text, form).date()
        except ValueError:
            continue
    return found


def days_meant(text: str) -> list[dt.date]:
    """Every day that a text may be, by any usual way of writing days."""
    return sorted(set(readings_of(text.strip(), (ISO, *FORMS)).values()))


def in_words(day: dt.date) -> str:
    """A day that nobody can take for another: 3 April 2011."""
    return f"{day.day} {day:%B %Y}"


def how_to_write(text: str) -> str:
    """What to write in place of a text that isn't year-month-day; nothing where it is no day."""
    ways = [f"{day.isoformat()} for {in_words(day)}" for day in days_meant(text)]
    return f"write {', or '.join(ways)}" if ways else ""
