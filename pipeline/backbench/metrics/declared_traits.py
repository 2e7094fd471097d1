"""What is declared of every metric in force: title, unit, traits; nothing of what measures it.

What only compares and shows needs no more, and the numerics of all metrics take longer to load
than a comparison. Of the program's own metrics it stands in two tables beside this file, written
from the declarations by `python -m backbench.metrics.reference_page`; a test holds them up to date.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, fields
from functools import cache, cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from backbench.metrics.declared_metric import Declared
from backbench.metrics.in_force import own_metrics
from backbench.metrics.least_asked import LeastAsked
from backbench.metrics.method_versions import shipped_methods
from backbench.metrics.session_spreads import SessionSpread
from backbench.metrics.traits import PLAIN, Overview, Traits

if TYPE_CHECKING:
    from backbench.metrics.declaration import Metric

TABLE = Path(__file__).with_name("declared_traits.json")


Known = TypeVar("Known", bound=Declared)


class Declarations(Generic[Known]):
    """Metrics by name, with what is asked of their traits."""

    def __init__(self, metrics: Mapping[str, Known]) -> None:
        self.metrics = metrics

    def traits(self, metric: str) -> Traits:
        """The traits of a metric; those of no special treatment where it isn't known.

        A catalogue may hold readings of a metric that is declared no more.
        """
        known = self.metrics.get(metric)
        return known.traits if known else PLAIN

    def having(self, trait: Callable[[Traits], object]) -> tuple[str, ...]:
        """Names of the metrics with a trait: those compared in their order, then by name."""
        chosen = [m for m in self.metrics.values() if trait(m.traits)]
        return tuple(m.name for m in sorted(chosen, key=lambda m: m.traits.position or 1000))

    def compared(self) -> Mapping[str, tuple[str, ...]]:
        """Metrics in which units are compared, in the order shown, with their test points."""
        return self._compared

    @cached_property
    def _compared(self) -> Mapping[str, tuple[str, ...]]:
        names = self.having(lambda traits: traits.compared_at)
        return {name: self.metrics[name].traits.compared_at for name in names}


def declarations() -> Declarations[Declared]:
    """Of everything in force: what the program declares, and the reviewer's own quantities."""
    return _with_own(own_metrics())


@lru_cache(maxsize=2)
def _with_own(own: tuple[Metric, ...]) -> Declarations[Declared]:
    return Declarations({**_shipped(), **{metric.name: metric for metric in own}})


@cache
def _shipped() -> Mapping[str, Declared]:
    """The program's own metrics by name, from the tables."""
    table: dict[str, Any] = json.loads(TABLE.read_text(encoding="utf-8"))
    methods = shipped_methods()
    return {
        name: Declared(
            name=name, title=methods[name].title, unit=facts["unit"], better=facts["better"],
            version=methods[name].version, stimuli=tuple(facts["stimuli"]),
            traits=_traits(facts["traits"]), family=facts["family"],
        )
        for name, facts in table.items()
    }  # fmt: skip


def _traits(facts: Mapping[str, Any]) -> Traits:
    given: dict[str, Any] = {
        key: tuple(fact) if isinstance(fact, list) else fact for key, fact in facts.items()
    }
    if "session_spread" in given:
        given["session_spread"] = SessionSpread(**given["session_spread"])
    if "overview" in given:
        given["overview"] = Overview(**given["overview"])
    if "asked" in given:
        given["asked"] = tuple(LeastAsked(**limits) for limits in given["asked"])
    return Traits(**given)


def trait_table(metrics: Mapping[str, Declared]) -> str:
    """The text of the table for these metrics: of traits, those that aren't the default's."""
    table = {
        name: {
            "family": m.family, "unit": m.unit, "better": m.better, "stimuli": m.stimuli,
            "traits": _stated(m.traits),
        }
        for name, m in metrics.items()
    }  # fmt: skip
    return json.dumps(table, indent=1, ensure_ascii=False) + "\n"


def _stated(traits: Traits) -> dict[str, Any]:
    whole = asdict(traits)
    names = (field.name for field in fields(traits))
    return {name: whole[name] for name in names if getattr(traits, name) != getattr(PLAIN, name)}
