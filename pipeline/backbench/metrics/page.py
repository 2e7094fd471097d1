"""pipeline/METRICS.md, written from the declarations: python -m backbench.metrics.page"""

from __future__ import annotations

from pathlib import Path

from backbench.metrics.declare import Metric
from backbench.metrics.registry import registry

PAGE = Path(__file__).parents[2] / "METRICS.md"

INTRODUCTION = """\
# Metrics
Written by `python -m backbench.metrics.page` from the declarations in `backbench/metrics/`; a test
holds that it is up to date. Standards are named as sources of a definition; clause numbers come
from public summaries of them unless the text says otherwise.

Every reading carries a standard uncertainty (JCGM 100:2008), its effective degrees of freedom, and
a status: measured, at_floor (a bound), entered, rejected or not_applicable with the reason.
Readings of different method versions are never compared.
"""


def page() -> str:
    """The text of METRICS.md."""
    return "\n".join([INTRODUCTION, *(_section(m) for m in registry().metrics.values())])


def _section(metric: Metric) -> str:
    lines = [
        f"## {metric.title} (`{metric.name}`)",
        metric.definition,
        "",
        f"- unit: {metric.unit}; better: {metric.better}; method version {metric.version}",
        f"- source: {metric.source}",
    ]
    if metric.choice:
        lines.append(f"- choices: {metric.choice}")
    found = ", ".join(metric.stimuli) or "worked out across captures"
    return "\n".join([*lines, f"- from: {found}", ""])


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
