"""A metric by the way in which people write its name: THD+N, thd-n, "Damping factor"."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING

from backbench.errors import Fault, did_you_mean
from backbench.metrics.declared_metric import Declared
from backbench.metrics.declared_traits import Declarations, declarations
from backbench.metrics.in_force import own_metrics
from backbench.metrics.method_versions import methods

if TYPE_CHECKING:
    from backbench.metrics.declaration import Metric

APART = re.compile(r"[^0-9a-z]+")


def metric_key(text: str) -> str | None:
    """The key of the metric that a text names, by its key or its title; None where none is.

    Capitals, spaces and signs between the words make no difference; a text that would name
    several metrics names none.
    """
    if text in methods():
        return text
    return _spellings(own_metrics()).get(_plain(text))


def metric_called(heading: str) -> str | None:
    """The key of the metric that a heading of old records most likely names; None where none is.

    Beside keys and titles it knows what such records call a metric (`Traits.also_called`): good
    for a proposal that somebody looks at.
    """
    return metric_key(heading) or _called(declarations()).get(_plain(_without_and(heading)))


def unknown_metric(where: str, text: str) -> Fault:
    """The fault of a text that names no metric, with the key that is nearest."""
    remedy = did_you_mean(text.lower(), methods(), "see `backbench metrics`")
    return Fault(where, f"metric {text!r}", "a metric's name", remedy)


def _plain(text: str) -> str:
    return APART.sub("", text.lower())


def _without_and(text: str) -> str:
    return re.sub(r"\band\b", " ", text.lower())


@lru_cache(maxsize=2)
def _called(known: Declarations[Declared]) -> dict[str, str]:
    """Keys by what old records call the metrics."""
    return {
        _plain(_without_and(name)): metric.name
        for metric in known.metrics.values()
        for name in metric.traits.also_called
    }


@lru_cache(maxsize=2)
def _spellings(own: tuple[Metric, ...]) -> dict[str, str | None]:
    """Keys by plain spelling; keys come before titles, and what names several names none.

    own: the reviewer's own quantities in force.
    """
    titles: dict[str, str | None] = {}
    for name, method in methods().items():
        title = _plain(method.title)
        titles[title] = name if titles.get(title, name) == name else None
    return {**titles, **{_plain(name): name for name in methods()}}
