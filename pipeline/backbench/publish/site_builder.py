"""The site's pages from an open catalogue, one function a kind of page."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from backbench.charts.declaration import MOST_ROWS
from backbench.comparison.compared_points import compared_points
from backbench.comparison.stale_figures import Stale
from backbench.comparison.standings import Common, read_common
from backbench.comparison.unit_comparison import Comparison, compare_unit
from backbench.comparison.verdicts import Verdict, verdicts_of
from backbench.documents.settings import Settings
from backbench.errors import UserError
from backbench.ingest.recording_dates import RecordingDates
from backbench.metrics.declared_traits import declarations
from backbench.publish import finding_sentences
from backbench.publish.difference_tables import left_right_sentence
from backbench.publish.foresight import foresee, foresee_pictures
from backbench.publish.output_files import OutputFile, make, write
from backbench.publish.photographs import Album, Photo, Unshown
from backbench.publish.question_tables import table_rows
from backbench.publish.reading_tables import peer_strip_of
from backbench.publish.render import data_address, json_text, page
from backbench.publish.scorecard import scorecard_picture
from backbench.publish.sheet_charts import ChartRenderer, Picture, picture_values
from backbench.publish.sheet_content import (
    PICTURES,
    ReviewSheet,
    first_picture,
    review_sheet,
    title_of,
)
from backbench.publish.site_data import Row, SiteData, keep_values
from backbench.quantities.writing import measured, quantity
from backbench.querying.saved_queries import SavedQuery
from backbench.storage.answers_ahead import AnswersAhead

SCRIPTS = {"index.html": ("site.js", "pictures.js"), "compare.html": ("curves.js", "site.js")}
READING = ("fold.js", "pictures.js")
"""The scripts of pages: of some by their template, of all others those that fold and read."""
MOST_TABLE_ROWS = 300
MOST_CHARTED = 40
"""So many of the newest reviews have all their charts on the site: drawing takes longest of all."""
MOST_KEPT = 12
"""Comparisons and scorecards that are kept for further pages: those of the units of a review, and
of the models that its units are of."""
MOST_CARDS = 120
"""Of so many of the newest, units have their scorecard drawn, on their pages and their models'."""


@dataclass
class SiteBuilder:
    """An open catalogue and the folder that its pages go to.

    earlier: the site whose like files are taken over, where these pages take its place.
    left_out: a line for each saved query of the catalogue that can't be used.
    """

    renderer: ChartRenderer
    site_data: SiteData
    settings: Settings
    folder: Path
    album: Album = field(default_factory=Album)
    dates: RecordingDates = field(default_factory=RecordingDates)
    earlier: Path | None = None
    left_out: Sequence[str] = ()
    _values_kept: bool = False
    _judged: Mapping[str, list[Verdict]] = field(default_factory=dict)
    _kept: dict[str, Comparison] = field(default_factory=dict)
    _cards: dict[str, Picture | None] = field(default_factory=dict)

    def file(self, path: str, content: bytes) -> OutputFile:
        """One file of the site."""
        if self.earlier is None:
            return write(self.folder, path, content)
        return make(self.folder, path, content, self.earlier)

    def put(self, path: str, template: str, here: str = "", **values: Any) -> OutputFile:
        """One page, written where it differs. here: the page of the menu that it stands under."""
        up = "../" * path.count("/")
        content = page(
            template, up=up, scripts=SCRIPTS.get(template, READING), here=here,
            site=self.settings.title,
            points=self.site_data.points, **values,
        )  # fmt: skip
        return self.file(path, content)

    @cached_property
    def _common(self) -> Common:
        return read_common(self.renderer.store, settings=self.settings)

    @property
    def stale(self) -> Stale:
        """Figures that are out of date by the settings as they are now."""
        return self._common.stale

    @cached_property
    def charted(self) -> frozenset[str]:
        """The reviews whose units have all their charts."""
        return frozenset(itertools.islice(self.site_data.reviews, MOST_CHARTED))

    @cached_property
    def models_of(self) -> dict[str, list[tuple[str, str]]]:
        """The models whose pages are made after a review's, by review: what is worked out for its
        pages serves theirs too."""
        return self.site_data.models_by_review()

    @cached_property
    def carded(self) -> frozenset[str]:
        """The reviews whose units have a scorecard."""
        return frozenset(itertools.islice(self.site_data.reviews, MOST_CARDS))

    def keep_values(self) -> None:
        """Make the catalogue's answers about values at test points quick from now on."""
        if not self._values_kept:
            keep_values(self.renderer.store)
            self._values_kept = True

    def foresee(self, reviews: Sequence[str]) -> None:
        """Ask the catalogue for what the pages of some reviews need, in few statements."""
        store, data = self.renderer.store, self.site_data
        if not isinstance(store, AnswersAhead):
            return
        store.forget()
        units = {row["unit_key"] for key in reviews for row in data.units_in(key)}
        foresee(store, data, reviews)
        newest = {unit: str(data.units[unit]["review_key"]) for unit in sorted(units)}
        foresee_pictures(
            store, self.renderer.queries,
            [unit for unit, review in newest.items() if review in self.carded],
        )  # fmt: skip
        self._judged = verdicts_of(store, newest)

    def compared(self, unit_key: str) -> Comparison:
        """A unit beside its peers; kept for the next pages that ask for it."""
        if unit_key not in self._kept:
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            self._kept[unit_key] = compare_unit(
                self.renderer.store, unit_key, self.settings, common=self._common,
                judged=self._judged.get(unit_key),
            )  # fmt: skip
        return self._kept[unit_key]

    def card(self, unit_key: str) -> Picture | None:
        """A unit's scorecard, or, where it has no rank, the first chart that it has; None where its
        review is not one that has them, or there is nothing to draw."""
        if self.site_data.units[unit_key]["review_key"] not in self.carded:
            return None
        if unit_key not in self._cards:
            if len(self._cards) >= MOST_KEPT:
                self._cards.clear()
            compared = self.compared(unit_key)
            drawn = scorecard_picture(self.renderer, self.site_data, compared)
            self._cards[unit_key] = drawn or first_picture(
                self.renderer, self.site_data.units[unit_key]
            )
        return self._cards[unit_key]

    def save_picture(
        self, picture: Picture, up: str = "../"
    ) -> tuple[dict[str, Any], list[OutputFile]]:
        """A picture as files of the site, and what a template needs of it.

        up: the way from the page that shows it to the site's root.
        """
        files = [self.file(_chart_path(drawn), drawn.svg.encode()) for drawn in picture.all_drawn]
        return picture_values(picture, lambda p: up + _chart_path(p)), files


def _chart_path(picture: Picture) -> str:
    return f"charts/{picture.digest}.svg"


def review_pages(builder: SiteBuilder, review_key: str) -> Iterator[OutputFile]:
    """The sheet of a review, and the pages of the units that it is the newest review of."""
    most = len(PICTURES) if review_key in builder.charted else 0
    sheet = review_sheet(
        builder.renderer, builder.site_data, review_key, builder.compared, builder.stale, most,
        dates=builder.dates.in_doubt(review_key), card=builder.card,
    )  # fmt: skip
    photographs = list(builder.album.of(review_key))
    yield from _sheet_page(builder, sheet, most, photographs)
    for part in sheet.parts:
        unit = builder.site_data.units[part.row["unit_key"]]
        if unit["review_key"] == review_key:
            yield from _unit_page(builder, unit, builder.compared(unit["unit_key"]), part.card)


def _sheet_page(
    builder: SiteBuilder, sheet: ReviewSheet, most: int, photographs: Sequence[Photo | Unshown]
) -> Iterator[OutputFile]:
    saved = [[builder.save_picture(picture) for picture in part.pictures] for part in sheet.parts]
    for _, files in (pair for pairs in saved for pair in pairs):
        yield from files
    for photo in photographs:
        if isinstance(photo, Photo):
            yield builder.file(f"photographs/{photo.name}", photo.jpeg)
    key = sheet.review["review_key"]
    written = builder.put(
        f"sheets/{key}.html", "sheet.html", "reviews.html",
        sheet=sheet_values(sheet, [[values for values, _ in pairs] for pairs in saved]),
        title=title_of(sheet), alone=False, charts_limited=most < len(PICTURES),
        photographs=[photograph_values(photo, "../photographs/") for photo in photographs],
    )  # fmt: skip
    unshown = [photo for photo in photographs if isinstance(photo, Unshown)]
    trouble = "; ".join(f"photograph {p.file} not shown: {p.reason}" for p in unshown)
    yield replace(written, trouble=f"{key}: {trouble}" if trouble else "")


def photograph_values(photo: Photo | Unshown, folder: str = "") -> dict[str, Any]:
    """A photograph for its template: a file in `folder`, or inside the page where none is given."""
    if isinstance(photo, Unshown):
        return {"file": photo.file, "reason": photo.reason}
    src = folder + photo.name if folder else data_address(photo.jpeg, "image/jpeg")
    return {"src": src, "caption": photo.caption, "width": photo.width, "height": photo.height}


def sheet_values(
    sheet: ReviewSheet, pictures: Sequence[Sequence[Mapping[str, Any]]]
) -> dict[str, Any]:
    """The sheet as its template takes it, each part with its pictures."""
    parts = [
        {**vars(part), "pictures": own} for part, own in zip(sheet.parts, pictures, strict=True)
    ]
    return {**vars(sheet), "parts": parts}


def _unit_page(
    builder: SiteBuilder, unit: Row, compared: Comparison, card: Picture | None
) -> Iterator[OutputFile]:
    key = unit["unit_key"]
    picture = None
    if card:
        picture, files = builder.save_picture(card)
        yield from files
    entries = [
        (line, peer_strip_of(line, builder.site_data, compared.peers)) for line in compared.lines
    ]
    yield builder.put(
        f"units/{key}.html", "unit.html", "index.html", unit=unit, compared=compared,
        picture=picture, entries=entries, reviews=builder.site_data.reviews_of(key),
        state_sentence=finding_sentences.state_sentence(
            unit["state"], unit["work"], unit["reviewed"]
        ),
        verdicts_sentence=finding_sentences.verdicts_sentence(compared.verdicts),
        ranks_sentence=finding_sentences.ranks_sentence(compared.lines, compared.peers.description),
        left_right_sentence=left_right_sentence(compared),
    )  # fmt: skip


def question_page(builder: SiteBuilder, query: SavedQuery) -> Iterator[OutputFile]:
    """A saved query's answer with its chart; one answer a technology where it asks for one."""
    answers: list[dict[str, Any]] = []
    trouble = ""
    for heading, values in _parameter_sets(builder.site_data, query):
        picture = None
        try:
            frame = builder.renderer.run(query.name, **values)
        except UserError as error:
            trouble = str(error)
            break
        if query.chart and not frame.is_empty() and frame.height <= MOST_ROWS:
            picture, *files = _drawn(builder, query, frame, heading, values)
            yield from files
        rows = table_rows(query.columns, frame.head(MOST_TABLE_ROWS))
        answers.append(
            {
                "heading": heading,
                "picture": picture,
                "rows": rows,
                "total": frame.height,
                "conditions": builder.renderer.conditions(query.name, values),
            }
        )
    written = builder.put(
        f"questions/{query.name}.html", "question.html", "questions.html", query=query,
        answers=answers, trouble=trouble, columns=query.columns,
        given=[f"{p.name} = {p.default}" for p in query.parameters if p.default and
               p.type != "technology"],
    )  # fmt: skip
    yield replace(written, trouble=trouble)


def _drawn(
    builder: SiteBuilder, query: SavedQuery, frame: Any, heading: str, values: Mapping[str, str]
) -> Iterator[Any]:
    """The picture for the template, and its SVG files."""
    title = f"{query.title}: {heading}" if heading else query.title
    picture, files = builder.save_picture(builder.renderer.both(query.name, frame, title, values))
    yield picture
    yield from files


def _parameter_sets(site_data: SiteData, query: SavedQuery) -> list[tuple[str, dict[str, str]]]:
    """The sets of parameters that a query is run with: one, or one for each technology."""
    from backbench.charts.theme import in_order

    asks = next((p for p in query.parameters if p.type == "technology"), None)
    if asks is None:
        return [("", {})]
    present = in_order(row["technology"] for row in site_data.units.values())
    return [(technology, {asks.name: technology}) for technology in present] or [("", {})]


MOST_DATA_BYTES = 2_400_000


def comparison_data(site_data: SiteData, most_bytes: int = MOST_DATA_BYTES) -> list[dict[str, Any]]:
    """What the pages for setting side by side work from: every unit on each of them, and as many
    quantities as its bytes have room for. Values are keyed by the unit's position."""
    units = [[key, row["label"], _about(row)] for key, row in site_data.units.items()]
    positions = {key: position for position, key in enumerate(site_data.units)}
    room = most_bytes - _size(units)
    pages: list[list[dict[str, Any]]] = [[]]
    left = room
    for place in _places(site_data):
        data = _place_data(site_data, place, positions)
        size = _size(data)
        if size > left and pages[-1]:
            pages.append([])
            left = room
        pages[-1].append(data)
        left -= size
    return [{"units": units, "places": places} for places in pages]


def _size(value: object) -> int:
    return len(json_text(value).encode())


def _places(site_data: SiteData) -> list[tuple[str, str, float | None]]:
    """Every place that some unit has a value at, in the order of comparing."""
    return [
        (metric, point, limit)
        for metric, points in compared_points().items()
        for point in points
        for limit in sorted(
            {place[2] for place in site_data.values if place[:2] == (metric, point)},
            key=lambda limit: limit or 0.0,
        )
    ]


def _about(row: Row) -> str:
    return ", ".join(str(row[name]) for name in ("technology", "kind", "state"))


def _place_data(
    site_data: SiteData, place: tuple[str, str, float | None], positions: Mapping[str, int]
) -> dict[str, Any]:
    column = site_data.values[place]
    first = next(iter(column.values()))
    limit = f", {quantity(place[2], '%')} distortion" if place[2] is not None else ""
    values = [float(f"{row['value']:.6g}") for row in column.values()]
    return {
        "title": first["title"], "point": site_data.points[place[1]] + limit,
        "better": declarations().metrics[place[0]].better,
        "ends": [min(values), max(values)],
        "values": {
            str(positions[key]): [
                _short(row["value"]), _short(row["uncertainty"]), row["bound"],
                measured(row["value"], row["uncertainty"], row["unit"], row["bound"]),
                *(["entered"] if row["status"] == "entered" else []),
            ]
            for key, row in column.items()
        },
    }  # fmt: skip


def _short(value: float | None) -> float | None:
    """Six digits: enough to place a mark and to hold two values apart."""
    return None if value is None else float(f"{value:.6g}")


__all__ = ["SiteBuilder", "comparison_data", "question_page", "review_pages"]
