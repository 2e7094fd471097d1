"""A unit's comparison as one picture: half a dozen figures among peers, with specifications."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from backbench.comparison.standings import LIMIT_PERCENT, Standing
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


def scorecard_rows(compared: Comparison, site_data: SiteData) -> Iterator[dict[str, Any]]:
    """A row a ranked figure and unit: the unit itself first, its peers after it."""
    for line in _chosen(compared.lines):
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


def _chosen(lines: Sequence[Standing]) -> list[Standing]:
    """The ranked figures, one a metric, in the order in which units are compared."""
    chosen: dict[str, Standing] = {}
    for line in lines:
        if line.rank and line.limit_percent in (None, LIMIT_PERCENT):
            chosen.setdefault(line.metric, line)
    return list(chosen.values())


def _of_figure(line: Standing) -> dict[str, Any]:
    return {
        "metric": line.metric,
        "title": line.title,
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
