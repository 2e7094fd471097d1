"""A unit's comparison as one picture: half a dozen figures among peers, with specifications."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from backbench.comparison.quantity_names import titled
from backbench.comparison.standings import Standing
from backbench.comparison.summary import MOST_NAMED, ranked_lines, standing_out
from backbench.metrics.declared_traits import declarations
from backbench.publish.sheet_charts import ChartRenderer, Picture
from backbench.publish.site_data import SiteData
from backbench.quantities.counts import counted
from backbench.quantities.sentences import listed
from backbench.quantities.writing import COVERAGE, value_alone

if TYPE_CHECKING:
    import altair as alt

    from backbench.charts.drawing import Size
    from backbench.comparison.unit_comparison import Comparison
    from backbench.comparison.verdicts import Verdict

QUESTION = "How does it stand in its main figures, and against its specifications?"


def scorecard(compared: Comparison, site_data: SiteData, size: Size) -> alt.TopLevelMixin:
    """The picture of a unit that has a rank in something (`ranked`)."""
    return _card(compared, list(scorecard_rows(compared, site_data)), size)


def _card(compared: Comparison, rows: Sequence[dict[str, Any]], size: Size) -> alt.TopLevelMixin:
    import polars as pl

    from backbench.charts.drawing import Labels
    from backbench.charts.registry import chart_named

    labels = Labels(title=heading(compared), question=QUESTION, note=_conditions(compared))
    frame = pl.DataFrame(rows, infer_schema_length=None)
    return chart_named("scorecard").draw(frame, labels, compared.unit_key, size)


def _conditions(compared: Comparison) -> str:
    return f"{compared.state}, {compared.reviewed}; peers: {compared.peers.description}"


def heading(compared: Comparison) -> str:
    """The unit's standing in one sentence, counted as the first sentences of its page count it."""
    best, worst = standing_out(compared.lines)
    counts = [
        f"in the {quarter} quarter for {len(some)}"
        for quarter, some in (("best", best), ("worst", worst))
        if some
    ]
    of = f"of {counted(len(ranked_lines(compared.lines)), 'figure')}"
    standing = f"{listed(counts)} {of}" if counts else (
        f"certainly in neither the best nor the worst quarter for any {of}"
    )  # fmt: skip
    return f"{compared.label}: {standing}{_kept(compared.verdicts)}"


def _kept(verdicts: Sequence[Verdict]) -> str:
    """How many specifications are met, of those that a reading was held against."""
    decided = [v for v in verdicts if v.decided]
    if not decided:
        return ""
    met = sum(v.outcome == "meets" for v in decided)
    return f"; meets {met} of {counted(len(decided), 'specification')} tested"


def scorecard_picture(
    renderer: ChartRenderer, site_data: SiteData, compared: Comparison
) -> Picture | None:
    """The same, rendered; None where there is nothing to draw."""
    from backbench.charts.drawing import PAGE, PHONE, PRINT

    if not ranked(compared.lines):
        return None
    rows = list(scorecard_rows(compared, site_data))
    words = (heading(compared), QUESTION, _conditions(compared), compared.unit_key)
    source = repr((words, rows))

    def drawn(size: Size) -> Picture:
        title = f"Scorecard: {compared.label}"
        return renderer.picture(f"{source} {size}", title, partial(_card, compared, rows, size))

    return replace(drawn(PAGE), narrow=drawn(PHONE), printed=drawn(PRINT))


def scorecard_rows(compared: Comparison, site_data: SiteData) -> Iterator[dict[str, Any]]:
    """A row a ranked figure and unit: the unit itself first, its peers after it."""
    for line in ranked(compared.lines):
        column = site_data.values.get((line.metric, line.point_key, line.limit_percent), {})
        others = [
            key
            for key in compared.peers.at(line.point_key)
            if key in column and key != line.unit_key
        ]
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
    """The ranked figures, one a metric: those that stand out most, the first of each family of
    metrics, then the rest.

    Within these, in the order in which units are compared, without those that tell nothing.
    """
    best, worst = standing_out(lines)
    named = [*best[:MOST_NAMED], *worst[:MOST_NAMED]]
    chosen = {line.metric: line for line in reversed(named)}
    for line in ranked_lines(lines):
        if line.is_placed:
            chosen.setdefault(line.metric, line)
    order = list(dict.fromkeys(line.metric for line in lines))
    own = sorted(chosen.values(), key=lambda line: order.index(line.metric))
    first = [line for line in own if line in named]
    first += [line for line in _one_a_family(own) if line not in first]
    return first + [line for line in own if line not in first]


def _one_a_family(lines: Sequence[Standing]) -> list[Standing]:
    declared = declarations().metrics
    families: set[str] = set()
    first: list[Standing] = []
    for line in lines:
        family = declared[line.metric].family
        if family not in families:
            families.add(family)
            first.append(line)
    return first


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
    return {
        "place": line.place,
        "verdict": promise_text(line, [v for v in compared.verdicts if v.metric == line.metric]),
    }


SEVERITY = (
    "fails", "inconclusive", "meets", "measured under other conditions", "not measured"
)  # fmt: skip


def promise_text(line: Standing, verdicts: Sequence[Verdict]) -> str:
    """What was specified of a figure's quantity, and what became of it; "" where nothing was.

    A specification stands beside the figure itself only where that very reading was held against
    it. Any other stands with its own conditions and the value that was measured under them.
    """
    if not verdicts:
        return ""
    first = min(verdicts, key=lambda v: (not _of_figure_itself(v, line), SEVERITY.index(v.outcome)))
    more = len(verdicts) - 1
    text = f"specified {first.limit_text}"
    if _of_figure_itself(first, line):
        text += f": {first.outcome}"
    else:
        text += f" at {first.promised_at}" if first.promised_at else ""
        text += f": {_measured(first)}{first.outcome}"
    return text + (f"; {counted(more, 'more specification')}" if more else "")


def _of_figure_itself(verdict: Verdict, line: Standing) -> bool:
    return verdict.decided and bool(line.reading_key) and verdict.reading_key == line.reading_key


def _measured(verdict: Verdict) -> str:
    """The value that was held against the specification; nothing where none was."""
    if not verdict.decided or verdict.value is None:
        return ""
    shown = value_alone(verdict.value, verdict.uncertainty, verdict.unit, verdict.bound)
    return f"measured {shown} there, "
