"""Charts of saved queries as SVG, drawn once for each content."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from backbench.charts.dark_theme import following_the_screen
from backbench.comparison.stale_figures import Stale, of_answer, stale_figures
from backbench.documents.settings import Settings
from backbench.errors import UserError
from backbench.publish.drawn_from import answer_drawn, drawn_from
from backbench.publish.inline_pictures import inline
from backbench.querying.saved_queries import SavedQuery
from backbench.storage.database import Database

if TYPE_CHECKING:
    import altair as alt
    import polars as pl

    from backbench.charts.drawing import Size


TITLES = "SELECT point_key, title FROM test_point UNION ALL SELECT unit_key, label FROM peer"


@dataclass(frozen=True)
class Picture:
    """A drawn chart: what it shows in words, its SVG, and a name made from its content.

    width and height: in layout pixels. narrow: the same drawn for a phone, where there is one.
    printed: the same drawn for the whole width of a printed sheet, where the one for a phone
    would not do.
    """

    title: str
    alt: str
    svg: str
    digest: str
    width: int = 960
    height: int = 540
    narrow: Picture | None = None
    printed: Picture | None = None

    @property
    def all_drawn(self) -> list[Picture]:
        """This and the same drawn for other places."""
        return [drawn for drawn in (self, self.narrow, self.printed) if drawn]


def picture_values(picture: Picture, address: Callable[[Picture], str]) -> dict[str, Any]:
    """What a template needs of a picture; `address` says where its SVG is found."""
    phone, paper = picture.narrow, picture.printed
    return {
        "src": address(picture), "alt": picture.alt, "title": picture.title,
        "drawn": inline(picture.svg, picture.digest, picture.alt),
        "width": picture.width, "height": picture.height,
        "narrow": phone and {
            "src": address(phone), "width": phone.width, "height": phone.height,
            "drawn": inline(phone.svg, phone.digest, phone.alt),
        },
        "printed": paper and inline(paper.svg, paper.digest, paper.alt),
    }  # fmt: skip


class ChartRenderer:
    """Draws saved queries on one open store; takes what lies in folders of SVG files as drawn."""

    def __init__(
        self, store: Database, queries: Mapping[str, SavedQuery], kept: Sequence[Path] | None,
        settings: Settings | None = None,
    ) -> None:  # fmt: skip
        """kept: folders with what was drawn before.

        settings: of the catalogue as they are now, by which figures may be out of date.
        """
        self.store = store
        self._settings = settings
        self.stale = stale_figures(store, settings) if settings else Stale()
        self.queries = queries
        self.kept = kept or ()

    @cached_property
    def missing_measurements(self) -> list[Mapping[str, object]]:
        """What each unit of each review lacks, by the saved query that knows it."""
        if "missing-measurements" not in self.queries:
            return []
        return list(self.run("missing-measurements", lacking="yes").iter_rows(named=True))

    def run(self, name: str, **values: str) -> pl.DataFrame:
        """The rows of a saved query."""
        return self.queries[name].run(self.store, values)

    @cached_property
    def _titles(self) -> dict[str, str]:
        return {str(key): str(title) for key, title in self.store.rows(TITLES)}

    def conditions(self, name: str, values: Mapping[str, str]) -> str:
        """The conditions that a query's answer holds for, in words."""
        return self.queries[name].conditions_text(values, self._titles)

    def chart(
        self, name: str, frame: pl.DataFrame, title: str, values: Mapping[str, str],
        review: str = "", *, size: Size | None = None,
    ) -> alt.TopLevelMixin:  # fmt: skip
        """The chart that a query's header names, of rows already run with these values.

        review: what to call the review that the marked unit is shown of, where that is not its
        newest. size: what it is drawn for, a page where left out.
        """
        from backbench.charts.drawing import PAGE
        from backbench.charts.query_chart import query_chart

        conditions = self._words(name, frame, values, review)
        query, drawn_for = self.queries[name], size or PAGE
        return query_chart(
            self.store, query, frame, values, conditions, title=title, size=drawn_for
        )

    def _words(self, name: str, frame: pl.DataFrame, values: Mapping[str, str], review: str) -> str:
        """The conditions that a picture states, and what of it is out of date."""
        conditions = self.conditions(name, values)
        if review:
            conditions = _of_review(conditions, review)
        return "; ".join(filter(None, (conditions, of_answer(self.store, self.stale, frame))))

    def draw(self, name: str, title: str = "", review: str = "", **values: str) -> Picture | None:
        """The picture of a query; None where it isn't known, has no chart, fails or
        gives no rows, more than a chart draws, or none of the unit that was asked for.

        title: the chart's heading, the query's own where left out. review: as for `chart`.
        """
        from backbench.charts.declaration import MOST_ROWS

        query = self.queries.get(name)
        if query is None or query.chart is None:
            return None
        try:
            frame = self.run(name, **values)
        except UserError:  # shown on the query's own page
            return None
        unit = values.get("unit", "")
        lacking = unit and "unit_key" in frame.columns and unit not in frame["unit_key"]
        if frame.is_empty() or frame.height > MOST_ROWS or lacking:
            return None
        heading = title or query.title
        return self.both(name, frame, heading, values, review)

    def both(
        self, name: str, frame: pl.DataFrame, title: str, values: Mapping[str, str],
        review: str = "",
    ) -> Picture:  # fmt: skip
        """A query's picture for a page, with the one for a phone; put together only where
        neither was drawn before from the same."""
        words = (title, self._words(name, frame, values, review))
        source = answer_drawn(self.queries[name], frame, values, words)

        def drawn(*, narrow: bool) -> Picture:
            from backbench.charts.drawing import PAGE, PHONE

            size = PHONE if narrow else PAGE
            draw = partial(self.chart, name, frame, title, values, review, size=size)
            return self.picture(f"{source} {narrow}", title, draw)

        return replace(drawn(narrow=False), narrow=drawn(narrow=True))

    def picture(
        self, source: str, title: str, draw: Callable[[], alt.TopLevelMixin]
    ) -> Picture:  # fmt: skip
        """A chart as a picture; put together only where none was drawn before from this source.

        source: everything that `draw` works from, but for the settings and the program.
        """
        digest = drawn_from(source, self._settings)[:20]
        svg = self._before(digest)
        if not svg:
            from backbench.charts.unchecked import specification

            svg = _rendered(specification(draw()))
        return Picture(title, _alternative(title), svg, digest, *_size_of(svg))

    def _before(self, digest: str) -> str:
        """What was drawn under this name before, whole; "" where nothing was."""
        for folder in self.kept:
            path = folder / f"{digest}.svg"
            svg = path.read_text(encoding="utf-8") if path.is_file() else ""
            if SIZE.match(svg) and svg.rstrip().endswith("</svg>"):
                return svg
        return ""


def _alternative(title: str) -> str:
    return f"Chart: {title}. The figures are in the table."


SIZE = re.compile(r'<svg [^>]*?\bwidth="([\d.]+)" height="([\d.]+)"')


def _size_of(svg: str) -> tuple[int, int]:
    """Width and height that a picture states, in layout pixels."""
    stated = SIZE.match(svg)
    assert stated is not None  # every picture of the engine states it first of all
    return round(float(stated[1])), round(float(stated[2]))


def _of_review(conditions: str, review: str) -> str:
    """A query's conditions where the unit is shown of an earlier review than its newest."""
    replaced = conditions.replace("newest review of each unit", f"{review}; peers: newest")
    return replaced.replace("newest review", review)


def _rendered(spec: dict[str, Any]) -> str:
    from backbench.charts.readable_marks import with_readings
    from backbench.charts.svg_drawing import svg_of

    return following_the_screen(with_readings(svg_of(spec), spec))
