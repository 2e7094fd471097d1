"""A unit's comparison as one picture: half a dozen figures among peers, with specifications."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from backbench.comparison.quantity_names import titled
from backbench.comparison.standings import LIMIT_PERCENT, Standing
from backbench.metrics.reference_page import by_family
from backbench.publish.sheet_charts import ChartRenderer, Picture
from backbench.publish.site_data import SiteData
from backbench.quantities.writing import COVERAGE

if TYPE_CHECKING:
    import altair as alt

    from backbench.comparison.unit_comparison import Comparison

QUESTION = "How does it stand in its main figures, and against its specifications?"


def scorecard(compared: Comparison, site_data: SiteData) -> alt.TopLevelMixin | None:
    """The picture; None where the unit has a rank in nothing."""
    import polars as pl

    from backbench.charts.drawing import Labels
    from backbench.charts.registry import chart_named

    rows = list(scorecard_rows(compared, site_data))
    if not rows:
        return None
    conditions = f"{compared.state}, {compared.reviewed}; peers: {compared.peers.description}"
    labels = Labels(title=compared.label, question=QUESTION, note=conditions)
    frame = pl.DataFrame(rows, infer_schema_length=None)
    return chart_named("scorecard").draw(frame, labels, compared.unit_key)


def scorecard_picture(
    renderer: ChartRenderer, site_data: SiteData, compared: Comparison
) -> Picture | None:
    """The same, rendered; None where there is nothing to draw."""
    chart = scorecard(compared, site_data)
    if chart is None:
        return None
    from backbench.charts.unchecked import specification

    return renderer.picture(specification(chart), f"Scorecard: {compared.label}")


def scorecard_rows(compared: Comparison, site_data: SiteData) -> Iterator[dict[str, Any]]:
    """A row a ranked figure and unit: the unit itself first, its peers after it."""
    for line in ranked(compared.lines):
        column = site_data.values.get((line.metric, line.point_key, line.limit_percent), {})
        others = [key for key in compared.peers.keys if key in column and key != line.unit_key]
        for key in (line.unit_key, *others):
            values = vars(line) if key == line.unit_key else column[key]
            yield {
                "unit_key": key,
                "label": site_data.units[key]["label"],
                "technology": site_data.units[key]["technology"],
                **_of_figure(line),
                **_ends(values["value"], values["uncertainty"]),
                "bound": values["bound"],
                **(_standing(line, compared) if key == line.unit_key else {}),
            }


def ranked(lines: Sequence[Standing]) -> list[Standing]:
    """The ranked figures, one a metric: the first of each family of metrics, then the rest.

    Within these, in the order in which units are compared, without those that tell nothing.
    """
    chosen: dict[str, Standing] = {}
    for line in lines:
        if line.is_placed and line.limit_percent in (None, LIMIT_PERCENT):
            chosen.setdefault(line.metric, line)
    family_of = {metric.name: name for name, own in by_family().items() for metric in own}
    families: set[str] = set()
    first: list[Standing] = []
    for line in chosen.values():
        family = family_of[line.metric]
        if family not in families:
            families.add(family)
            first.append(line)
    return first + [line for line in chosen.values() if line not in first]


def _of_figure(line: Standing) -> dict[str, Any]:
    return {
        "metric": line.metric,
        "title": titled(line.metric, line.title, line.limit_percent),
        "point": f"{line.point}, {line.output}",
        "unit": line.unit,
        "better": line.better,
    }


def _ends(value: float, uncertainty: float | None) -> dict[str, float | None]:
    if uncertainty is None:
        return {"value": value, "low": None, "high": None}
    reach = COVERAGE * uncertainty
    return {"value": value, "low": value - reach, "high": value + reach}


def _standing(line: Standing, compared: Comparison) -> dict[str, Any]:
    """What only the unit itself has: its rank, and what was specified of this figure."""
    assert line.rank is not None
    verdict = next((v for v in compared.verdicts if v.metric == line.metric), None)
    return {
        "place": line.place,
        "rank_first": line.rank[0],
        "rank_last": line.rank[1],
        "ranked": line.n,
        "verdict": f"specified {verdict.printed}: {verdict.outcome}" if verdict else "",
    }
