"""A review's charts as numbered stills, in the order in which a video would show them."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from backbench.comparison.another_session import DEFAULT_MARK
from backbench.comparison.quantity_names import titled
from backbench.comparison.standings import Standing
from backbench.errors import Fault, UserError
from backbench.ingest.review_names import unknown_review
from backbench.metrics.declared_traits import declarations
from backbench.publish import finding_sentences
from backbench.publish.output_files import write
from backbench.publish.scorecard import ranked, scorecard
from backbench.publish.site_builder import SiteBuilder
from backbench.publish.site_data import Row
from backbench.quantities.writing import measured, quantity, value_alone

if TYPE_CHECKING:
    import altair as alt

    from backbench.charts.drawing import Size
    from backbench.charts.pixels import Converter
    from backbench.charts.still_canvas import Canvas
    from backbench.comparison.unit_comparison import Comparison

    Drawing = Callable[[], alt.TopLevelMixin]

ORDER = (
    ("response-over-peers", "Response"),
    ("distortion-over-power", "Distortion over power"),
    ("harmonics-left-and-right", "Harmonics"),
    ("tone-spectrum-of-a-unit", "Spectrum of a tone"),
    ("idle-spectrum-of-a-unit", "Spectrum at idle"),
    ("idle-noise-of-technology", "Residual noise among peers"),
    ("impedance-over-frequency", "Output impedance"),
    ("damping-by-technology", "Damping factor by technology"),
    ("separation-against-balance", "Channel separation and imbalance"),
    ("before-and-after-work", "Before and after service or restoration"),
    ("response-before-and-after", "Response before and after work"),
    ("distortion-before-and-after", "Distortion before and after work"),
)
"""Saved query and heading, in the order of the stills; the profile comes last. Which figures a
caption gives stands on the metrics' declarations."""


@dataclass(frozen=True)
class Still:
    """One picture with its caption, or one of each unit of a pair over each other.

    subject: what the name of its file ends in. drawings: what draws each picture. beside: what
    draws the pictures of the next or the last still, whose axes this one's have the limits of.
    """

    name: str
    subject: str
    drawings: tuple[Drawing, ...]
    caption: str
    beside: tuple[Drawing, ...] = ()

    def pictures(self) -> list[tuple[str, Size]]:
        """Each picture as SVG with its size; those of a pair on the same axes."""
        from backbench.charts.shared_axes import drawn_alike

        drawn = drawn_alike((*self.drawings, *self.beside))
        return [_as_svg(chart) for chart in drawn[: len(self.drawings)]]


def write_stills(
    builder: SiteBuilder, review_key: str, folder: Path, canvas: Canvas | None = None,
    to_png: Converter | None = None,
) -> list[Path]:  # fmt: skip
    """PNGs of the canvas's size and their captions, "01-response-….png" and ".txt"; their paths.

    canvas: 1920 by 1080 on a light ground where left out. to_png: this process where left out;
    another one converts pictures while the next ones are drawn. Stills of an earlier run in this
    folder that are no longer made are removed. Raises UserError where the review is not known, or
    where every unit of it has a later review.
    """
    from backbench.charts.pixels import converted_here
    from backbench.charts.still_canvas import Canvas, still_svg

    drawn_for, convert = canvas or Canvas(), to_png or converted_here
    drawn = [
        (f"{still.name}-{still.subject}", convert(still_svg(still.pictures(), drawn_for)), still)
        for still in stills_of(builder, review_key, drawn_for)
    ]
    paths = []
    for position, (name, png, still) in enumerate(drawn, start=1):
        for ending, content in (("png", png()), ("txt", still.caption.encode())):
            paths.append(folder / f"{position:02d}-{name}.{ending}")
            write(folder, paths[-1].name, content)
    _remove_others(folder, paths)
    return paths


def _as_svg(chart: alt.TopLevelMixin) -> tuple[str, Size]:
    from backbench.charts.image_export import size_of
    from backbench.charts.svg_drawing import svg_of
    from backbench.charts.unchecked import specification

    spec = specification(chart)
    return svg_of(spec), size_of(spec)


def _remove_others(folder: Path, kept: Sequence[Path]) -> None:
    """Take away the stills of an earlier run that were not made again."""
    for old in folder.iterdir():
        if re.fullmatch(r"\d\d-[a-z0-9._-]+\.(png|txt)", old.name) and old not in kept:
            old.unlink()


def stills_of(builder: SiteBuilder, review_key: str, canvas: Canvas) -> Iterator[Still]:
    """The stills of a review in their order. Raises UserError as `write_stills` does."""
    if review_key not in builder.site_data.reviews:
        raise unknown_review(review_key, builder.site_data.reviews)
    rows = builder.site_data.units_in(review_key)
    current = [
        row for row in rows if builder.site_data.units[row["unit_key"]]["review_key"] == review_key
    ]
    if not current:
        later = builder.site_data.units[rows[0]["unit_key"]]["review_key"]
        fault = Fault(f"review {review_key!r}", f"a later review of the same unit ({later})",
                      "the newest review of a unit", f"make the stills of {later}")  # fmt: skip
        raise UserError("the charts show the newest readings only", [fault])
    pair = len(current) == PAIR and len({(row["maker"], row["model"]) for row in current}) == 1
    size = _size_for(canvas, pair=pair)
    stills = [
        list(_of_unit(builder, row, builder.compared(row["unit_key"]), size)) for row in current
    ]
    if not pair:
        yield from itertools.chain.from_iterable(stills)
        return
    yield from _both(stills[0], stills[1], together=canvas.upright)


PAIR = 2


def _size_for(canvas: Canvas, *, pair: bool) -> Size:
    """What pictures are drawn for, so that their text is read at half the canvas's size."""
    from backbench.charts.drawing import HALF_UPRIGHT, PAGE, PHONE, SQUARE

    if canvas.wide:
        return PAGE
    if not canvas.upright:
        return SQUARE
    return HALF_UPRIGHT if pair else PHONE


def _both(first: Sequence[Still], second: Sequence[Still], *, together: bool) -> Iterator[Still]:
    """The stills of a pair's units, together or one after the other with the same axes.

    What one of them lacks stands alone.
    """
    others = {still.name: still for still in second}
    for still in first:
        other = others.pop(still.name, None)
        if other is None:
            yield still
            continue
        if not together:
            yield replace(still, beside=other.drawings)
            yield replace(other, beside=still.drawings)
            continue
        subject = f"{still.subject}-and-{other.subject}"
        caption = f"{still.caption}\n{other.caption}"
        yield Still(still.name, subject, still.drawings + other.drawings, caption)
    yield from others.values()


def _of_unit(builder: SiteBuilder, row: Row, compared: Comparison, size: Size) -> Iterator[Still]:
    unit = row["unit_key"]
    if ranked(compared.lines):
        caption = _caption("Scorecard", row, ranked(compared.lines))
        card = partial(scorecard, compared, builder.site_data, size)
        yield Still("scorecard", unit, (card,), caption)
    for query, heading in ORDER:
        draw = _drawing(builder, query, f"{heading}: {row['label']}", row, size)
        if draw is not None:
            caption = _caption(heading, row, _lines_of(query, compared.lines))
            yield Still(query, unit, (draw,), caption)
    frame = profile_frame(compared.lines)
    if not frame.is_empty():
        from backbench.charts.drawing import Labels, PlainColumn
        from backbench.charts.registry import chart_named

        title = f"Percentiles among peers: {row['label']}"
        labels = Labels(
            [PlainColumn("percentile", "", "Percentile among peers (100 = best)")], title
        )
        ranks = finding_sentences.ranks_sentence(compared.lines, compared.peers.description)
        draw = partial(chart_named("profile").draw, frame, labels, unit, size)
        yield Still("profile", unit, (draw,), f"{title}\n{ranks}\n")


def _drawing(builder: SiteBuilder, query: str, title: str, row: Row, size: Size) -> Drawing | None:
    """What draws the query's chart with this unit marked; None where there is nothing of it."""
    renderer = builder.renderer
    if query not in renderer.queries or renderer.queries[query].chart is None:
        return None
    known = {parameter.name for parameter in renderer.queries[query].parameters}
    values = {"unit": row["unit_key"], "technology": row["technology"]}
    values = {name: text for name, text in values.items() if name in known}
    frame = renderer.run(query, **values)
    holds = "unit_key" not in frame.columns or row["unit_key"] in frame["unit_key"].to_list()
    if frame.is_empty() or not holds:
        return None
    return partial(renderer.chart, query, frame, title, values, size=size)


def _lines_of(query: str, lines: Sequence[Standing]) -> list[Standing]:
    """The unit's figures that belong into the caption of this query's chart."""
    known = declarations()
    return [line for line in lines if query in known.traits(line.metric).captions]


def _caption(heading: str, row: Row, lines: Sequence[Standing]) -> str:
    """Heading and unit, then a line a figure: value, conditions and place."""
    parts = [f"{heading}: {row['label']}", f"Measured {row['state']} on {row['reviewed']}."]
    parts += [_figure_line(line) for line in lines]
    return "\n".join(parts) + "\n"


def _figure_line(line: Standing) -> str:
    limit = f" at {quantity(line.limit_percent, '%')}" if line.limit_percent is not None else ""
    shown = measured(line.value, line.uncertainty, line.unit, line.bound)
    mark = f", spread between sessions: {DEFAULT_MARK}" if line.session_default else ""
    place = f"; {line.place}{mark}" if line.place else ""
    return f"{line.title}{limit}: {shown} ({line.point}, {line.output}{place})"


def profile_frame(lines: Sequence[Standing]) -> Any:
    """The unit's lines as percentiles, their intervals made from the rank intervals."""
    import polars as pl

    rows = [
        {
            "metric": line.metric, "title": titled(line.metric, line.title, line.limit_percent),
            "percentile": float(line.percentile),
            "low": 100.0 * (line.n - line.rank[1]) / (line.n - 1),
            "high": 100.0 * (line.n - line.rank[0]) / (line.n - 1),
            "shown": _shown(line), "peers": line.n - 1,
        }
        for line in lines
        if line.rank is not None and line.percentile is not None and line.n > 1
    ]  # fmt: skip
    return pl.DataFrame(rows, infer_schema_length=None)


def _shown(line: Standing) -> str:
    """The value alone: its uncertainty is in the interval that is drawn."""
    return value_alone(line.value, line.uncertainty, line.unit, line.bound)
