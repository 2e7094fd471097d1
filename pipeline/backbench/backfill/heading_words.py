"""What a heading names: a fact of the review or of the unit, or a metric with its conditions."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from backbench.backfill.compound_cells import UNIT_OF_CONDITION, names_ratio
from backbench.metrics.metric_names import metric_called
from backbench.metrics.registry import registry
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.numerals import NUMERAL
from backbench.quantities.reading import read_quantity
from backbench.quantities.units import spelled_unit

FACT_WORDS: dict[str, tuple[str, ...]] = {
    "review.date": ("date", "day", "measured", "measured on", "tested", "test date", "when",
                    "reviewed"),
    "review.key": ("no", "nr", "number", "id", "ref", "review", "review no"),
    "review.bench": ("bench", "test bench"),
    "review.mains_hz": ("mains", "mains hz", "mains frequency", "line frequency"),
    "review.title": ("title", "headline"),
    "unit.maker": ("maker", "brand", "make", "manufacturer", "made by"),
    "unit.model": ("model", "model name", "product", "amplifier", "amp", "name"),
    "unit.serial": ("serial", "serial no", "serial number", "ser no"),
    "unit.kind": ("kind", "type", "category", "sort"),
    "unit.technology": ("technology", "valve/ss", "tube/ss", "valve/transistor", "devices"),
    "unit.topology": ("topology", "circuit", "output stage", "class"),
    "unit.made": ("year", "made", "built", "year made", "year of make", "vintage", "years"),
    "unit.state": ("state", "condition", "cond"),
    "unit.rated_power_w": ("rated", "rated power", "rated output", "rated w", "nominal power",
                           "power rating"),
    "unit.notes": ("notes", "note", "remarks", "remark", "comments", "comment"),
}  # fmt: skip
_FACTS = {word: fact for fact, words in FACT_WORDS.items() for word in words}
UNCERTAINTY = ("±", "+/-", "+-", "uncertainty", "unc", "error", "u")
_QUANTITY = re.compile(
    rf"(?<![^\s(@,;/])(?:{NUMERAL})\s*(?:[kKmMµu]?(?:Hz|W|Ω|V)|%|[kK]?(?:ohms?|R)\b|[kK]\b)",
    re.IGNORECASE,
)
_OUTPUTS = {"l": "left", "r": "right", "left": "left", "right": "right"}
_BRACKETED = re.compile(r"[(\[]([^)\]]*)[)\]]")
_SMALL = {"at", "into", "in", "for", "@", "of", "and", "-", "–", ",", ";", "/", "&", "load", "tone"}


@dataclass
class HeadingOfFigures:
    """A heading that names a metric. at: conditions in it. unit: of its bare numbers."""

    metric: str
    at: dict[str, float] = field(default_factory=dict)
    unit: str | None = None
    output: str = "both"


def fact_named(heading: str) -> str | None:
    """The fact that a heading names, as "unit.maker"; None where it names none."""
    plain = _plain(heading)
    return _FACTS.get(plain) or _FACTS.get(_plain(_BRACKETED.sub(" ", heading)))


def is_uncertainty(heading: str) -> bool:
    """Whether a heading says that its column holds uncertainties."""
    words = _plain(_BRACKETED.sub(" ", heading)).split()
    return bool(words) and (words[0] in UNCERTAINTY or words[-1] in UNCERTAINTY)


def without_uncertainty(heading: str) -> str:
    """What the uncertainties of a heading are of: "THD uncertainty (%)" is of "THD (%)"."""
    return " ".join(word for word in heading.split() if _plain(word) not in UNCERTAINTY)


def figures_named(heading: str) -> HeadingOfFigures | None:
    """The metric, conditions, unit and output that a heading names; None where it names none."""
    text, unit = _without_unit(heading)
    text, at = _without_conditions(text)
    words = [word.strip(",;:") for word in text.split()]
    outputs = [_OUTPUTS[word.lower()] for word in words if word.lower() in _OUTPUTS]
    kept = [w for w in words if w and w.lower() not in _SMALL and w.lower() not in _OUTPUTS]
    last = spelled_unit(kept[-1]) if len(kept) > 1 and unit is None else None
    if "limit_percent" in at and len(kept) > 1:
        # "Power at 1 % THD": the ratio belongs to the limit.
        kept = [word for word in kept if not names_ratio(word)] or kept
    metric = _called(kept) or metric_called(" ".join(words))
    if metric is None and last is not None and (metric := _called(kept[:-1])):
        unit = kept[-1]
    if metric is None:
        return None
    output = outputs[0] if len(set(outputs)) == 1 else "both"
    own = registry().metrics[metric].unit
    return HeadingOfFigures(metric, _of_metric(at, own), unit, output)


def _called(words: list[str]) -> str | None:
    """The metric of a heading, also where the one above it names the same: Noise, Hum and noise."""
    whole = metric_called(" ".join(words))
    if whole is not None:
        return whole
    for n in range(1, len(words)):
        above, own = metric_called(" ".join(words[:n])), metric_called(" ".join(words[n:]))
        if above is not None and above == own:
            return own
    return None


def _of_metric(at: dict[str, float], unit: str) -> dict[str, float]:
    """Conditions that the metric can have: a distortion limit only beside a power."""
    return {name: v for name, v in at.items() if name != "limit_percent" or unit == "W"}


def _plain(heading: str) -> str:
    return " ".join(re.sub(r"[.:#*]", " ", heading.lower()).split())


def _without_unit(heading: str) -> tuple[str, str | None]:
    """The heading without a unit in brackets, "THD (%)", or behind a comma, "Noise, mV"."""
    for match in _BRACKETED.finditer(heading):
        if spelled_unit(match[1].strip()) is not None and not re.search(r"\d", match[1]):
            return f"{heading[: match.start()]} {heading[match.end() :]}", match[1].strip()
    head, comma, tail = heading.rpartition(",")
    if comma and spelled_unit(tail.strip()) is not None:
        return head, tail.strip()
    return re.sub(r"[()\[\]]", " ", heading), None


def _without_conditions(text: str) -> tuple[str, dict[str, float]]:
    at: dict[str, float] = {}

    def taken(match: re.Match[str]) -> str:
        # As people write a frequency in a heading: 1k.
        text = f"{match[0]}Hz" if match[0].strip().endswith(("k", "K")) else match[0]
        for name, unit in UNIT_OF_CONDITION.items():
            try:
                at.setdefault(name, read_quantity(text, unit).value)
            except UnreadableQuantity:
                continue
            return " "
        return match[0]

    return _QUANTITY.sub(taken, text), at
