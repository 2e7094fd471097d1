"""pipeline/METRICS.md, written from the declarations: python -m backbench.metrics.reference_page"""

from __future__ import annotations

import csv
from pathlib import Path

from backbench.metrics.declaration import Metric
from backbench.metrics.registry import registry

PAGE = Path(__file__).parents[2] / "METRICS.md"
CHECKED = Path(__file__).parents[3] / "tests" / "reference" / "checked_ranges.csv"
"""Written by tests/bench/checked_ranges.py; in a checkout only, as the page is."""

INTRODUCTION = """\
# Metrics
Written by `python -m backbench.metrics.reference_page` from the declarations in
`backbench/metrics/`; a test holds that it is up to date. Standards are named as sources of a
definition; clause numbers come from public summaries of them unless the text says otherwise.

Every reading carries a standard uncertainty (JCGM 100:2008), its effective degrees of freedom, and
a status: measured, at_floor (a bound), entered, rejected or not_applicable with the reason.
Readings of different method versions are never compared.

"Checked" tells over which range a metric was held against a known truth and the largest error
found there, of readings that are no bounds (`tests/bench/checked_ranges.py`; errors include what
the noise of the records makes unknowable, as the stated uncertainty does). Where it is absent,
the metric is held by tests in `tests/metrics` and `tests/reference` at the tolerances there.
"""


def page() -> str:
    """The text of METRICS.md."""
    told = checks()
    metrics = registry().metrics.values()
    return "\n".join([INTRODUCTION, *(_section(m, told.get(m.name, [])) for m in metrics)])


def checks() -> dict[str, list[str]]:
    """By metric, each range that it was checked over with the largest error found."""
    found: dict[str, list[str]] = {}
    with CHECKED.open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            error = f"{row['largest_error']} {row['unit']}".removesuffix(" 1")
            told = f"{row['range']}: {row['figures']} figures, largest error {error}"
            if row["deviations"]:
                told += f", at most {row['deviations']} standard uncertainties"
            found.setdefault(row["metric"], []).append(told)
    return found


def _section(metric: Metric, told: list[str]) -> str:
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
    lines.append(f"- from: {found}")
    return "\n".join([*lines, *(f"- checked: {text}" for text in told), ""])


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
