"""A review's charts as numbered stills, in the order in which a video would show them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from backbench.comparison.standings import Standing
from backbench.errors import Fault, UserError
from backbench.ingest.review_names import unknown_review
from backbench.metrics.registry import registry
from backbench.publish import finding_sentences
from backbench.publish.output_files import write
from backbench.publish.site_builder import Press
from backbench.publish.site_data import Row
from backbench.quantities.writing import measured, value_alone

if TYPE_CHECKING:
    import altair as alt

    from backbench.comparison.unit_comparison import Comparison

ORDER = (
    ("response-over-peers", "Response"),
    ("distortion-over-power", "Distortion over power"),
    ("harmonics-left-and-right", "Harmonics"),
    ("tone-spectrum-of-a-unit", "A tone and what is beside it"),
    ("idle-spectrum-of-a-unit", "What is in the noise"),
    ("idle-noise-of-technology", "Noise among its peers"),
    ("impedance-over-frequency", "Impedance"),
    ("damping-by-technology", "Damping factor by technology"),
    ("separation-against-balance", "Between the channels"),
    ("before-and-after-work", "Before and after the work"),
)
"""Saved query and heading, in the order of the stills; the profile comes last. Which figures a
caption gives stands on the metrics' declarations."""


@dataclass(frozen=True)
class Still:
    """One picture with its caption."""

    name: str
    chart: alt.TopLevelMixin
    caption: str


def write_stills(press: Press, review_key: str, folder: Path) -> list[Path]:
    """PNGs of 1920 by 1080 and their captions, "01-response-….png" and ".txt"; their paths.

    Stills of an earlier run that are no longer made are removed. Raises UserError where the
    review is not known, or where every unit of it has a later review.
    """
    from backbench.charts.image_export import STILL, png

    if review_key not in press.shelf.reviews:
        raise unknown_review(review_key, press.shelf.reviews)
    paths = []
    for number, still in enumerate(_stills(press, review_key), start=1):
        stem = f"{number:02d}-{still.name}"
        for name, content in (
            (f"{stem}.png", png(still.chart, STILL)),
            (f"{stem}.txt", still.caption.encode()),
        ):
            write(folder, name, content)
            paths.append(folder / name)
    for old in folder.iterdir():
        if re.fullmatch(r"\d\d-[a-z0-9._-]+\.(png|txt)", old.name) and old not in paths:
            old.unlink()
    return paths


def _stills(press: Press, review_key: str) -> Iterator[Still]:
    rows = press.shelf.units_in(review_key)
    current = [
        row for row in rows if press.shelf.units[row["unit_key"]]["review_key"] == review_key
    ]
    if not current:
        later = press.shelf.units[rows[0]["unit_key"]]["review_key"]
        fault = Fault(f"review {review_key!r}", f"a later review of the same unit ({later})",
                      "the newest review of a unit", f"make the stills of {later}")  # fmt: skip
        raise UserError("the charts show the newest readings only", [fault])
    for row in current:
        yield from _of_unit(press, row, press.compared(row["unit_key"]))


def _of_unit(press: Press, row: Row, compared: Comparison) -> Iterator[Still]:
    unit = row["unit_key"]
    for query, heading in ORDER:
        chart = _drawn(press, query, f"{heading}: {row['label']}", row)
        if chart is not None:
            told = _caption(heading, row, _lines_of(query, compared.lines))
            yield Still(f"{query}-{unit}", chart, told)
    frame = profile_frame(compared.lines)
    if not frame.is_empty():
        from backbench.charts.drawing import Column, Labels
        from backbench.charts.registry import chart_named

        title = f"All in all: {row['label']}"
        labels = Labels([Column("percentile", "", "Percentile among peers, 100 the best")], title)
        said = finding_sentences.places_said(compared.lines, compared.peers.said)
        chart = chart_named("profile").draw(frame, labels, unit)
        yield Still(f"profile-{unit}", chart, f"{title}\n{said}\n")


def _drawn(press: Press, query: str, title: str, row: Row) -> alt.TopLevelMixin | None:
    """The query's chart with this unit marked; None where there is nothing to draw of it."""
    studio = press.studio
    if query not in studio.queries or studio.queries[query].chart is None:
        return None
    known = {parameter.name for parameter in studio.queries[query].parameters}
    values = {"unit": row["unit_key"], "technology": row["technology"]}
    values = {name: text for name, text in values.items() if name in known}
    frame = studio.run(query, **values)
    holds = "unit_key" not in frame.columns or row["unit_key"] in frame["unit_key"].to_list()
    if frame.is_empty() or not holds:
        return None
    return studio.chart(query, frame, title, values)


def _lines_of(query: str, lines: Sequence[Standing]) -> list[Standing]:
    """The unit's figures that belong into the caption of this query's chart."""
    known = registry()
    return [line for line in lines if query in known.traits(line.metric).captions]


def _caption(heading: str, row: Row, lines: Sequence[Standing]) -> str:
    """Heading and unit, then a line a figure: value, conditions and place."""
    told = [f"{heading}: {row['label']}", f"Measured {row['state']} on {row['reviewed']}."]
    told += [_figure_said(line) for line in lines]
    return "\n".join(told) + "\n"


def _figure_said(line: Standing) -> str:
    limit = f" at {line.limit_percent:g} %" if line.limit_percent is not None else ""
    shown = measured(line.value, line.uncertainty, line.unit, line.bound)
    place = f"; {line.place}" if line.place else ""
    return f"{line.title}{limit}: {shown} ({line.point}, {line.output}{place})"


def profile_frame(lines: Sequence[Standing]) -> Any:
    """The unit's lines as percentiles, their intervals made from the rank intervals."""
    import polars as pl

    rows = [
        {
            "metric": line.metric, "title": _titled(line), "percentile": float(line.percentile),
            "low": 100.0 * (line.n - line.rank[1]) / (line.n - 1),
            "high": 100.0 * (line.n - line.rank[0]) / (line.n - 1),
            "shown": _shown(line), "peers": line.n - 1,
        }
        for line in lines
        if line.rank is not None and line.percentile is not None and line.n > 1
    ]  # fmt: skip
    return pl.DataFrame(rows, infer_schema_length=None)


def _titled(line: Standing) -> str:
    title = registry().traits(line.metric).title_at_limit
    if title and line.limit_percent is not None:
        return title.format(limit=f"{line.limit_percent:g}")
    return line.title


def _shown(line: Standing) -> str:
    """The value alone: its uncertainty is in the interval that is drawn."""
    return value_alone(line.value, line.uncertainty, line.unit, line.bound)
