"""Published figures: the limit as printed, turned into the metric's unit."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterator

from backbench.documents.manifest import MANIFEST_NAME, Manifest
from backbench.documents.unit_facts import Published
from backbench.errors import Fault
from backbench.metrics.registry import registry

LIMIT = re.compile(r"\s*([-+−]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?)\s*([^\d\s].*?)?\s*")
PREFIXES = {"n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "k": 1e3}


def limit_value(text: str, unit: str) -> float:
    """The number of a printed limit in a metric's unit: "0.5 mV" in V is 0.0005.

    A ratio may be printed in % or dB. Raises ValueError where the unit can't be turned.
    """
    found = LIMIT.fullmatch(text)
    if not found:
        raise ValueError(text)
    number = float(found[1].replace(",", ".").replace("−", "-"))
    printed = (found[2] or "1").strip()
    if printed == unit:
        return number
    if (printed, unit) == ("dB", "%"):
        return 100 * 10 ** (number / 20)
    if (printed, unit) == ("%", "dB") and number > 0:
        return 20 * math.log10(number / 100)
    if printed[1:] == unit and printed[0] in PREFIXES:
        return number * PREFIXES[printed[0]]
    raise ValueError(text)


def printed_limit(figure: Published) -> tuple[str, str]:
    """Side and text of a published limit."""
    if figure.at_most is not None:
        return "at most", figure.at_most
    assert figure.at_least is not None
    return "at least", figure.at_least


def published_faults(manifest: Manifest) -> Iterator[Fault]:
    """Published figures of unknown metrics, or with limits that can't be read."""
    metrics = registry().metrics
    for unit in manifest.unit:
        for position, figure in enumerate(unit.published, start=1):
            where = f"{MANIFEST_NAME}, unit {unit.key!r}, published {position}"
            if figure.metric not in metrics:
                near = difflib.get_close_matches(figure.metric, metrics, n=1)
                remedy = f"did you mean {near[0]}?" if near else "see `backbench metrics`"
                yield Fault(where, f"metric {figure.metric!r}", "a metric's name", remedy)
                continue
            unit_of = metrics[figure.metric].unit
            try:
                limit_value(printed_limit(figure)[1], unit_of)
            except ValueError:
                yield Fault(
                    where, repr(printed_limit(figure)[1]),
                    f"a number with a unit that turns into {unit_of!r}",
                )  # fmt: skip
