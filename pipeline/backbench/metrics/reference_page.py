"""pipeline/METRICS.md and the tables of what is declared, written from the declarations:

python -m backbench.metrics.reference_page
"""

from __future__ import annotations

import csv
import json
import string
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from backbench.metrics.declaration import Metric
from backbench.metrics.declared_traits import TABLE as TRAITS
from backbench.metrics.declared_traits import trait_table
from backbench.metrics.method_versions import TABLE
from backbench.metrics.registry import registry, shipped_registry
from backbench.metrics.session_spreads import SessionSpread, usual_spread
from backbench.metrics.source_marks import shares
from backbench.quantities.writing import in_text

PAGE = Path(__file__).parents[2] / "METRICS.md"
CHECKED = Path(__file__).parents[3] / "tests" / "reference" / "checked_ranges.csv"
"""Written by tests/bench/checked_ranges.py; in a checkout only, as the page is."""

USUAL = 3
"""Metrics of a family that share a text before it is given once, above them."""
LONG_CLAUSE = 50
"""Characters of a clause of the choices from which on it is given once where it is shared."""

INTRODUCTION = """\
# Metrics
Written by `python -m backbench.metrics.reference_page` from the declarations in
`backbench/metrics/`; a test holds that it is up to date. Standards are named as sources of a
definition; clause numbers come from public summaries of them unless the text says otherwise.

Every reading carries a standard uncertainty (JCGM 100:2008), its effective degrees of freedom, and
a status: measured, at_floor (a bound; one that noise sets holds in 99 of 100 records), entered,
rejected or not_applicable with the reason.
Readings of different method versions are never compared.

"Checked" gives the range over which a metric was compared with a known truth and the largest
error there, of readings that are not bounds (`tests/bench/checked_ranges.py`; errors include what
the noise of the records makes unknowable, as the stated uncertainty does). Where it is absent,
the metric is checked by tests in `tests/metrics` and `tests/reference` at the tolerances there.

"Another session" is the standard deviation that is assumed between two sessions of one unit
without work in between, until the catalogue has units that were measured again. These sizes are
common practice, no source; what each comes from:
"""


def page() -> str:
    """The text of METRICS.md."""
    checked = checks()
    families = by_family()
    contents = [f"- [{name}](#{_anchor(name)}): {_names(own)}" for name, own in families.items()]
    sections = [_family(name, own, checked) for name, own in families.items()]
    marks = shares(metric.source for own in families.values() for metric in own)
    assumed = [*_assumed_spreads(), ""]
    return "\n".join([INTRODUCTION, *assumed, marks, "", "## Contents", *contents, "", *sections])


def by_family() -> dict[str, list[Metric]]:
    """The metrics by the FAMILY of the module that declares them; the reviewer's own are one."""
    families: dict[str, list[Metric]] = {}
    for metric in registry().metrics.values():
        families.setdefault(metric.family, []).append(metric)
    return dict(sorted(families.items()))


def checks() -> dict[str, list[str]]:
    """By metric, each range that it was checked over with the largest error found."""
    ranges: dict[str, list[str]] = {}
    with CHECKED.open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            error = f"{row['largest_error']} {row['unit']}".removesuffix(" 1")
            text = f"{row['range']}: {row['figures']} figures, largest error {error}"
            if row["deviations"]:
                text += f", at most {row['deviations']} standard uncertainties"
            ranges.setdefault(row["metric"], []).append(text)
    return ranges


def _family(name: str, metrics: Sequence[Metric], checked: Mapping[str, list[str]]) -> str:
    """A family's section: what most of it shares first, then each metric."""
    shared = {
        key: _usual([_facts(metric)[key] for metric in metrics]) for key in ("source", "from")
    }
    lines = [f"## {name}"]
    usual = [f"{key}: {text}" for key, text in shared.items() if text]
    if usual:
        lines += [f"Unless stated otherwise, {'; '.join(usual)}.", ""]
    clauses = shared_clauses(metrics)
    if clauses:
        lines += ["Choices that several of these metrics share, named there by their letter:", ""]
        lines += [f"- {letter}: {clause}" for clause, letter in clauses.items()] + [""]
    for metric in metrics:
        lines.append(_section(metric, checked.get(metric.name, []), shared, clauses))
    return "\n".join(lines)


def shared_clauses(metrics: Sequence[Metric]) -> dict[str, str]:
    """Letters for the long clauses that at least USUAL of a family's choices hold."""
    number = Counter(clause for metric in metrics for clause in dict.fromkeys(_clauses(metric)))
    shared = [clause for clause, n in number.items() if n >= USUAL and len(clause) >= LONG_CLAUSE]
    return {
        clause: f"({letter})"
        for clause, letter in zip(shared, string.ascii_lowercase, strict=False)
    }


def _clauses(metric: Metric) -> list[str]:
    return metric.choice.split("; ") if metric.choice else []


def _facts(metric: Metric) -> dict[str, str]:
    """Source and stimuli of a metric, as the page gives them."""
    stimuli = ", ".join(metric.stimuli) or "several captures of a review"
    return {"source": metric.source, "from": stimuli}


def _assumed_spreads() -> Iterator[str]:
    """What each assumed spread between sessions comes from, once."""
    whys: dict[str, list[str]] = {}
    for metric in registry().metrics.values():
        spread = _spread(metric)
        sizes = whys.setdefault(spread.why, [])
        if (text := _size(spread, metric.unit)) not in sizes:
            sizes.append(text)
    for why, sizes in whys.items():
        yield f"- {', '.join(sizes)}: {why}"


def _spread(metric: Metric) -> SessionSpread:
    return metric.traits.session_spread or usual_spread(metric.unit)


def _size(spread: SessionSpread, unit: str) -> str:
    if spread.is_relative:
        return f"{in_text(100 * spread.size, '%', 2)} of the value"
    return in_text(spread.size, unit, 2)


def _usual(texts: Sequence[str]) -> str:
    """The text that at least USUAL of a family share, else none."""
    text, number = Counter(texts).most_common(1)[0]
    return text if number >= USUAL else ""


def _names(metrics: Sequence[Metric]) -> str:
    return ", ".join(f"`{metric.name}`" for metric in metrics)


def _anchor(title: str) -> str:
    return title.lower().replace(" ", "-")


def _section(
    metric: Metric,
    checked: Sequence[str],
    shared: Mapping[str, str],
    clauses: Mapping[str, str],
) -> str:
    facts = {key: text for key, text in _facts(metric).items() if text != shared[key]}
    choices = "; ".join(clauses.get(clause, clause) for clause in _clauses(metric))
    facts = {**facts, "choices": choices} if choices else facts
    return "\n".join([
        f"### {metric.title} (`{metric.name}`)",
        metric.definition,
        "",
        f"- unit: {metric.unit}; better: {metric.better}; method version {metric.version}; "
        f"another session: {_size(_spread(metric), metric.unit)}",
        *(f"- {key}: {text}" for key, text in facts.items()),
        *(f"- checked: {text}" for text in checked),
        "",
    ])  # fmt: skip


def version_table() -> str:
    """The text of method_versions.json."""
    shipped = shipped_registry()
    metrics = {m.name: {"title": m.title, "version": m.version} for m in shipped.metrics.values()}
    table = {"metrics": metrics, "curves": sorted(shipped.curves)}
    return json.dumps(table, indent=1, ensure_ascii=False) + "\n"


def write_tables() -> None:
    """What commands read in place of all declarations."""
    TABLE.write_text(version_table(), encoding="utf-8")
    TRAITS.write_text(trait_table(shipped_registry().metrics), encoding="utf-8")


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    write_tables()
