"""Title and method version of every metric in force, without what measures it.

What a metric measures with takes longer to load than most commands run. The table beside this file
is written from the declarations by `python -m backbench.metrics.reference_page`; a test holds that
it is up to date.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from backbench.metrics.in_force import own_metrics

TABLE = Path(__file__).with_name("method_versions.json")


@dataclass(frozen=True)
class Method:
    """A metric as people read it, and the version of the method that its figures come from."""

    title: str
    version: int


def methods() -> dict[str, Method]:
    """Every metric in force by name: those of the program, and the reviewer's own quantities."""
    own = {metric.name: Method(metric.title, metric.version) for metric in own_metrics()}
    return {**shipped_methods(), **own}


@cache
def shipped_methods() -> Mapping[str, Method]:
    """The program's own metrics by name."""
    return {name: Method(**facts) for name, facts in _table()["metrics"].items()}


def shipped_names() -> frozenset[str]:
    """Names that the program's metrics and curves have."""
    return frozenset((*_table()["metrics"], *_table()["curves"]))


@cache
def _table() -> dict[str, Any]:
    table: dict[str, Any] = json.loads(TABLE.read_text(encoding="utf-8"))
    return table
