"""The first sentences of units against their readings: every figure, side and place, by machine.

Run: python tests/bench/sentences_against_readings.py CATALOGUE [UNITS]

Each sentence is taken apart as a reader takes it: a quantity, its value, the output in brackets,
and a place. The value has to be that of a stored reading of this unit, output and quantity, in its
present state; the output the worse of those that were measured; the place that of `compare`.
Printed: figures and places checked, and every one that differs.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

from backbench.catalogue import Catalogue
from backbench.comparison.quantity_names import titled
from backbench.quantities.sentences import lowered
from backbench.quantities.writing import quantity
from backbench.storage.database import Database, reading

SIDE = r"\((?P<output>[a-z0-9 -]+?)(?:, from an old record)?\)"
PLACE = r"(?:, (?P<place>\d+\w\w(?: to \d+\w\w)? of \d+), [\w ]+ is better)?"
STORED = """
SELECT metric, metric.title, placed.unit, placed.better, output, value, limit_percent
FROM placed JOIN metric USING (metric)
WHERE unit_key = $unit AND order_n IS NULL
UNION ALL BY NAME
SELECT metric, metric.title, metric.unit, metric.better, output, value, limit_percent
FROM reading JOIN metric USING (metric, method_version)
WHERE unit_key = $unit AND review_key = $review AND order_n IS NULL AND value IS NOT NULL
"""


class Mention(NamedTuple):
    """A figure as a sentence has it."""

    title: str
    value: str
    output: str
    place: str


def mentions(sentence: str, titles: set[str]) -> Iterator[Mention]:
    """Every figure of a sentence whose output stands behind it."""
    names = "|".join(re.escape(lowered(title)) for title in sorted(titles, key=len, reverse=True))
    limit = r"(?: \([\d.]+\s%\))?"
    value = r"(?:at most |at least )?(?P<value>\S+(?:\s\S+)?)"
    pattern = rf"(?i:(?P<title>{names})){limit} {value} {SIDE}{PLACE}"
    for found in re.finditer(pattern, sentence):
        yield Mention(found["title"].lower(), found["value"], found["output"], found["place"] or "")


def faults(store: Database, catalogue: Catalogue, unit: str) -> tuple[int, int, list[str]]:
    """How many figures and places were checked, and what differs."""
    compared = catalogue.compare(unit)
    rows = store.frame(STORED, {"unit": unit, "review": compared.review_key}).to_dicts()
    for row in rows:
        row["title"] = titled(row["metric"], row["title"], row["limit_percent"])
    titles = {row["title"] for row in rows}
    figures = places = 0
    wrong = []
    for sentence in compared.sentences:
        for found in mentions(sentence, titles):
            figures += 1
            own = [row for row in rows if lowered(row["title"]).lower() == found.title]
            if not any(_is(row, found) for row in own):
                wrong.append(f"{unit}: no reading has {found}")
            if found.place:
                places += 1
                wrong += _misplaced(unit, compared.lines, found)
    return figures, places, wrong


def _is(row: dict[str, Any], found: Mention) -> bool:
    # "left re right" is a reading of left.
    return (
        row["output"] == found.output.partition(" re ")[0]
        and quantity(row["value"], row["unit"]) == found.value
    )


def _misplaced(unit: str, lines: Any, found: Mention) -> Iterator[str]:
    names = [lowered(titled(n.metric, n.title, n.limit_percent)).lower() for n in lines]
    same = [line for line, name in zip(lines, names, strict=True) if name == found.title]
    output = found.output.partition(" re ")[0]
    if not any(line.place == found.place and line.output == output for line in same):
        yield f"{unit}: the place of {found} is {[line.place for line in same]}"


def main() -> None:
    folder, most = Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 10_000
    catalogue = Catalogue(folder)
    with reading(folder) as store:
        keys = [str(key) for (key,) in store.rows("SELECT unit_key FROM unit ORDER BY 1")][:most]
        results = [faults(store, catalogue, key) for key in keys]
    for _, _, wrong in results:
        print(*wrong, sep="\n", end="\n" * bool(wrong))
    figures, places = (sum(result[n] for result in results) for n in (0, 1))
    count = sum(len(result[2]) for result in results)
    print(f"{len(keys)} units: {figures} figures and {places} places checked, {count} differ")


if __name__ == "__main__":
    main()
