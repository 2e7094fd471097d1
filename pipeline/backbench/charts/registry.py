"""Every chart declared in this package, found by looking."""

from __future__ import annotations

import importlib
import pkgutil
from functools import cache

import backbench.charts
from backbench.charts.declaration import Chart
from backbench.errors import Fault, UserError


@cache
def charts() -> dict[str, Chart]:
    """All charts by name. Raises ValueError where a name stands twice."""
    declared: dict[str, Chart] = {}
    for info in sorted(pkgutil.iter_modules(backbench.charts.__path__), key=lambda i: i.name):
        module = importlib.import_module(f"backbench.charts.{info.name}")
        for item in vars(module).values():
            if isinstance(item, Chart) and declared.setdefault(item.name, item) is not item:
                raise ValueError(f"chart {item.name} is declared twice, again in {info.name}")
    return dict(sorted(declared.items()))


def chart_named(name: str) -> Chart:
    """The chart of that name. Raises UserError where there is none."""
    declared = charts().get(name)
    if declared is None:
        raise UserError("no such chart", [Fault("chart", name, "one of " + ", ".join(charts()))])
    return declared
