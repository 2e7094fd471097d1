"""Everything declared in this package, found by looking."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterable, Mapping
from functools import cache, lru_cache

import backbench.metrics
from backbench.metrics.declaration import Curve, Metric, View
from backbench.metrics.declared_traits import Declarations
from backbench.metrics.in_force import own_metrics
from backbench.metrics.traits import CurveRole


class Registry(Declarations[Metric]):
    """All metrics, views and curves by name, with what measures them."""

    def __init__(
        self, metrics: Mapping[str, Metric], views: Mapping[str, View], curves: Mapping[str, Curve]
    ) -> None:
        super().__init__(metrics)
        self.views, self.curves = views, curves
        self._measured: dict[str, list[Metric]] = {}
        self._traced: dict[str, list[Curve]] = {}

    def measured_from(self, stimulus: str) -> list[Metric]:
        """Metrics of one capture of this stimulus, by name; those of its parts too."""
        if stimulus not in self._measured:
            seen = self.views.get(stimulus)
            kinds = {stimulus, seen.parts if seen else None}
            self._measured[stimulus] = [m for m in self.metrics.values() if kinds & {*m.stimuli}]
        return self._measured[stimulus]

    def traced_from(self, stimulus: str) -> list[Curve]:
        """Curves of one capture of this stimulus, by name."""
        if stimulus not in self._traced:
            self._traced[stimulus] = [c for c in self.curves.values() if stimulus in c.stimuli]
        return self._traced[stimulus]

    def derivations(self) -> list[Metric]:
        """Metrics across captures, by name."""
        return [m for m in self.metrics.values() if m.derive is not None]

    def curve_derivations(self) -> list[Curve]:
        """Curves across captures, by name."""
        return [c for c in self.curves.values() if c.derive is not None]

    def curve_roles(self) -> dict[str, CurveRole]:
        """Curves that derivations across captures are handed, and as what."""
        return {c.name: c.traits.role for c in self.curves.values() if c.traits.role}

    def versions(self, stimulus: str) -> dict[str, int]:
        """Method versions that the analysis of a capture of this stimulus rests on."""
        views = [stimulus, self.views[stimulus].parts]
        versions = {f"view {kind}": self.views[kind].version for kind in views if kind}
        versions |= {m.name: m.version for m in self.measured_from(stimulus)}
        return versions | {f"curve {c.name}": c.version for c in self.traced_from(stimulus)}


def registry() -> Registry:
    """Everything in force: what the program declares, and the reviewer's own quantities."""
    own = own_metrics()
    return _with_own(own) if own else shipped_registry()


@lru_cache(maxsize=2)
def _with_own(own: tuple[Metric, ...]) -> Registry:
    shipped = shipped_registry()
    metrics = {**shipped.metrics, **{metric.name: metric for metric in own}}
    return Registry(metrics, shipped.views, shipped.curves)


@cache
def shipped_registry() -> Registry:
    """Import every module of the package and gather what it declares."""
    declarations: dict[type, dict[str, object]] = {Metric: {}, View: {}, Curve: {}}
    for info in sorted(pkgutil.iter_modules(backbench.metrics.__path__), key=lambda i: i.name):
        module = importlib.import_module(f"backbench.metrics.{info.name}")
        for item in vars(module).values():
            if isinstance(item, (Metric, View, Curve)):
                name = item.stimulus if isinstance(item, View) else item.name
                if declarations[type(item)].setdefault(name, item) is not item:
                    raise ValueError(f"{name} is declared twice, again in {info.name}")
    _check_positions(declarations[Metric].values())  # type: ignore[arg-type]
    ordered = {kind: dict(sorted(items.items())) for kind, items in declarations.items()}
    return Registry(ordered[Metric], ordered[View], ordered[Curve])  # type: ignore[arg-type]


def _check_positions(metrics: Iterable[Metric]) -> None:
    taken: dict[int, str] = {}
    for metric in metrics:
        position = metric.traits.position
        if position is not None and taken.setdefault(position, metric.name) != metric.name:
            raise ValueError(f"{metric.name} has the position of {taken[position]}")
