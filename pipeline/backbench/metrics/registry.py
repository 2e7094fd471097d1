"""Everything declared in this package, found by looking."""

from __future__ import annotations

import importlib
import pkgutil
from dataclasses import dataclass, field
from functools import cache

import backbench.metrics
from backbench.metrics.declaration import Curve, Metric, View


@dataclass(frozen=True)
class Registry:
    """All metrics, views and curves by name. Raises ValueError where a name stands twice."""

    metrics: dict[str, Metric]
    views: dict[str, View]
    curves: dict[str, Curve]
    _measured: dict[str, list[Metric]] = field(default_factory=dict)

    def measured_from(self, stimulus: str) -> list[Metric]:
        """Metrics of one capture of this stimulus, by name; those of its parts too."""
        if stimulus not in self._measured:
            seen = self.views.get(stimulus)
            kinds = {stimulus, seen.parts if seen else None}
            self._measured[stimulus] = [m for m in self.metrics.values() if kinds & {*m.stimuli}]
        return self._measured[stimulus]

    def traced_from(self, stimulus: str) -> list[Curve]:
        """Curves of one capture of this stimulus, by name."""
        return [c for c in self.curves.values() if stimulus in c.stimuli]

    def derivations(self) -> list[Metric]:
        """Metrics across captures, by name."""
        return [m for m in self.metrics.values() if m.derive is not None]

    def curve_derivations(self) -> list[Curve]:
        """Curves across captures, by name."""
        return [c for c in self.curves.values() if c.derive is not None]

    def versions(self, stimulus: str) -> dict[str, int]:
        """Method versions that the analysis of a capture of this stimulus rests on."""
        views = [stimulus, self.views[stimulus].parts]
        found = {f"view {kind}": self.views[kind].version for kind in views if kind}
        found |= {m.name: m.version for m in self.measured_from(stimulus)}
        return found | {f"curve {c.name}": c.version for c in self.traced_from(stimulus)}


@cache
def registry() -> Registry:
    """Import every module of the package and gather what it declares."""
    found: dict[type, dict[str, object]] = {Metric: {}, View: {}, Curve: {}}
    for info in sorted(pkgutil.iter_modules(backbench.metrics.__path__), key=lambda i: i.name):
        module = importlib.import_module(f"backbench.metrics.{info.name}")
        for item in vars(module).values():
            if isinstance(item, (Metric, View, Curve)):
                name = item.stimulus if isinstance(item, View) else item.name
                if found[type(item)].setdefault(name, item) is not item:
                    raise ValueError(f"{name} is declared twice, again in {info.name}")
    ordered = {kind: dict(sorted(items.items())) for kind, items in found.items()}
    return Registry(ordered[Metric], ordered[View], ordered[Curve])  # type: ignore[arg-type]
