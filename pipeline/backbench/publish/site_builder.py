"""The site's pages from an open catalogue, one function a kind of page."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from backbench.charts.declaration import MOST_ROWS
from backbench.comparison.differences import two_units
from backbench.comparison.standings import Common, compared_points, read_common
from backbench.comparison.unit_comparison import Comparison, compare_unit
from backbench.documents.settings import Settings
from backbench.errors import UserError
from backbench.publish import finding_sentences
from backbench.publish.difference_tables import sides_said, told_of
from backbench.publish.output_files import Written, make, write
from backbench.publish.photographs import Album, Photo, Unshown
from backbench.publish.reading_tables import strip_of
from backbench.publish.render import data_address, json_text, page
from backbench.publish.sheet_charts import Picture, Studio
from backbench.publish.sheet_content import PICTURES, Sheet, review_sheet, title_of
from backbench.publish.site_data import Row, Shelf, slug
from backbench.quantities.writing import measured, number
from backbench.querying.saved_queries import SavedQuery

MOST_TABLE_ROWS = 300
MOST_CHARTED = 40
"""So many of the newest reviews have charts on the site's sheets: drawing takes longest of all."""
MOST_PAIRS = 6
MOST_CHANGES = 12


@dataclass
class Press:
    """An open catalogue and the folder that its pages go to.

    earlier: the site whose like files are taken over, where these pages take its place.
    """

    studio: Studio
    shelf: Shelf
    settings: Settings
    folder: Path
    album: Album = field(default_factory=Album)
    earlier: Path | None = None

    def file(self, path: str, content: bytes) -> Written:
        """One file of the site."""
        if self.earlier is None:
            return write(self.folder, path, content)
        return make(self.folder, path, content, self.earlier)

    def put(self, path: str, template: str, here: str = "", **values: Any) -> Written:
        """One page, written where it differs. here: the page of the menu that it stands under."""
        up = "../" * path.count("/")
        script = template in ("index.html", "compare.html")
        content = page(
            template, up=up, script=script, site=self.settings.title, here=here,
            points=self.shelf.points, **values,
        )  # fmt: skip
        return self.file(path, content)

    @cached_property
    def _common(self) -> Common:
        return read_common(self.studio.store)

    def compared(self, unit_key: str) -> Comparison:
        """A unit beside its peers."""
        return compare_unit(self.studio.store, unit_key, self.settings, common=self._common)

    def filed(self, picture: Picture, live: str = "") -> tuple[dict[str, str], Written]:
        """A picture as a file of the site, and what a template needs of it."""
        path = f"charts/{picture.digest}.svg"
        told = {"src": f"../{path}", "alt": picture.alt, "title": picture.title, "live": live}
        return told, self.file(path, picture.svg.encode())


def review_pages(press: Press, review_key: str) -> Iterator[Written]:
    """The sheet of a review, and the pages of the units that it is the newest review of."""
    known: dict[str, Comparison] = {}

    def compared(unit_key: str) -> Comparison:
        if unit_key not in known:
            known[unit_key] = press.compared(unit_key)
        return known[unit_key]

    newest = list(press.shelf.reviews)[:MOST_CHARTED]
    most = len(PICTURES) if review_key in newest else 0
    sheet = review_sheet(press.studio, press.shelf, review_key, compared, most)
    photographs = list(press.album.of(review_key))
    yield from _sheet_page(press, sheet, most, photographs)
    for row in press.shelf.units_in(review_key):
        unit = press.shelf.units[row["unit_key"]]
        if unit["review_key"] == review_key:
            yield _unit_page(press, unit, compared(unit["unit_key"]))


def _sheet_page(
    press: Press, sheet: Sheet, most: int, photographs: Sequence[Photo | Unshown]
) -> Iterator[Written]:
    filed = [[press.filed(picture) for picture in part.pictures] for part in sheet.parts]
    for _, written in (pair for pairs in filed for pair in pairs):
        yield written
    for photo in photographs:
        if isinstance(photo, Photo):
            yield press.file(f"photographs/{photo.name}", photo.jpeg)
    key = sheet.review["review_key"]
    written = press.put(
        f"sheets/{key}.html", "sheet.html", "reviews.html",
        sheet=shown(sheet, [[told for told, _ in pairs] for pairs in filed]),
        title=title_of(sheet), alone=False, few=most < len(PICTURES),
        photographs=[photograph_shown(photo, "../photographs/") for photo in photographs],
    )  # fmt: skip
    unshown = [photo for photo in photographs if isinstance(photo, Unshown)]
    trouble = "; ".join(f"photograph {p.file} not shown: {p.reason}" for p in unshown)
    yield replace(written, trouble=f"{key}: {trouble}" if trouble else "")


def photograph_shown(photo: Photo | Unshown, folder: str = "") -> dict[str, Any]:
    """A photograph for its template: a file in `folder`, or inside the page where none is given."""
    if isinstance(photo, Unshown):
        return {"file": photo.file, "reason": photo.reason}
    src = folder + photo.name if folder else data_address(photo.jpeg, "image/jpeg")
    return {"src": src, "caption": photo.caption, "width": photo.width, "height": photo.height}


def shown(sheet: Sheet, pictures: Sequence[Sequence[Mapping[str, str]]]) -> dict[str, Any]:
    """The sheet as its template takes it, each part with the addresses of its pictures."""
    parts = [
        {**vars(part), "pictures": found} for part, found in zip(sheet.parts, pictures, strict=True)
    ]
    return {**vars(sheet), "parts": parts}


def _unit_page(press: Press, unit: Row, compared: Comparison) -> Written:
    key = unit["unit_key"]
    entries = [(line, strip_of(line, press.shelf, compared.peers.keys)) for line in compared.lines]
    return press.put(
        f"units/{key}.html", "unit.html", "index.html", unit=unit, compared=compared,
        entries=entries, reviews=press.shelf.reviews_of(key),
        state_said=finding_sentences.state_said(unit["state"], unit["work"], unit["reviewed"]),
        verdicts_said=finding_sentences.verdicts_said(compared.verdicts),
        places_said=finding_sentences.places_said(compared.lines, compared.peers.description),
        sides_said=sides_said(compared),
    )  # fmt: skip


def model_page(press: Press, maker: str, model: str) -> Written:
    """All samples of a model; the first few pairs compared."""
    keys = press.shelf.models[maker, model]
    return press.put(
        f"models/{slug(maker, model)}.html", "model.html", "makers.html", maker=maker,
        model=model, units=[press.shelf.units[key] for key in keys],
        pairs=[_pair(press, a, b) for a, b in _neighbours(keys)],
    )  # fmt: skip


def _neighbours(keys: Sequence[str]) -> list[tuple[str, str]]:
    return list(itertools.pairwise(keys))[:MOST_PAIRS]


def _pair(press: Press, first: str, second: str) -> dict[str, Any]:
    found = told_of(two_units(press.studio.store, first, second))
    apart = [d for d in found if (d.beyond or 0) > 1]
    return {
        "first": first, "second": second, "differences": apart[:MOST_CHANGES],
        "said": finding_sentences.samples_said(found, first, second),
    }  # fmt: skip


def question_page(press: Press, query: SavedQuery) -> Iterator[Written]:
    """A saved query's answer with its chart; one answer a technology where it asks for one."""
    answers: list[dict[str, Any]] = []
    trouble = ""
    for heading, values in _askings(press.shelf, query):
        picture = None
        try:
            frame = press.studio.run(query.name, **values)
        except UserError as error:
            trouble = str(error)
            break
        if query.chart and not frame.is_empty() and frame.height <= MOST_ROWS:
            picture, *files = _drawn(press, query, frame, heading, values)
            yield from files
        rows = [_cells(query, row) for row in frame.head(MOST_TABLE_ROWS).iter_rows(named=True)]
        answers.append(
            {
                "heading": heading,
                "picture": picture,
                "rows": rows,
                "total": frame.height,
                "conditions": press.studio.conditions(query.name, values),
            }
        )
    written = press.put(
        f"questions/{query.name}.html", "question.html", "questions.html", query=query,
        answers=answers, trouble=trouble, columns=query.columns,
        given=[f"{p.name} = {p.default}" for p in query.parameters if p.default and
               p.type != "technology"],
    )  # fmt: skip
    yield replace(written, trouble=trouble)


def _drawn(
    press: Press, query: SavedQuery, frame: Any, heading: str, values: Mapping[str, str]
) -> Iterator[Any]:
    """The picture for the template, its SVG file, and the page that shows values on pointing."""
    from backbench.charts.image_export import offline_page

    title = f"{query.title}: {heading}" if heading else query.title
    chart = press.studio.chart(query.name, frame, title, values)
    suffix = f"-{heading.replace(' ', '-')}" if heading else ""
    live = f"{query.name}{suffix}-chart.html"
    told, written = press.filed(press.studio.picture(chart, title), live)
    yield told
    yield written
    yield press.file(f"questions/{live}", offline_page(chart).encode())


def _askings(shelf: Shelf, query: SavedQuery) -> list[tuple[str, dict[str, str]]]:
    """How a query is asked: once, or once for each technology of the catalogue."""
    from backbench.charts.theme import in_order

    asks = next((p for p in query.parameters if p.type == "technology"), None)
    if asks is None:
        return [("", {})]
    present = in_order(row["technology"] for row in shelf.units.values())
    return [(technology, {asks.name: technology}) for technology in present] or [("", {})]


def _cells(query: SavedQuery, row: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [_cell(column.name, row[column.name]) for column in query.columns]


def _cell(name: str, value: Any) -> dict[str, Any]:
    if value is None:
        return {"text": "—", "number": False, "link": ""}
    if isinstance(value, bool):
        return {"text": "yes" if value else "no", "number": False, "link": ""}
    if isinstance(value, float):
        return {"text": number(value, 4), "number": True, "link": ""}
    if isinstance(value, list):
        value = ", ".join(str(item) for item in value)
    link = str(value) if name == "unit_key" and value else ""
    return {"text": str(value), "number": isinstance(value, int), "link": link}


MOST_DATA_BYTES = 2_400_000


def comparison_data(shelf: Shelf, most_bytes: int = MOST_DATA_BYTES) -> list[dict[str, Any]]:
    """What the pages for setting side by side work from: every unit on each of them, and as many
    quantities as its bytes have room for. Values are keyed by the unit's position."""
    units = [[key, row["label"], _about(row)] for key, row in shelf.units.items()]
    positions = {key: position for position, key in enumerate(shelf.units)}
    room = most_bytes - _size(units)
    pages: list[list[dict[str, Any]]] = [[]]
    left = room
    for place in _places(shelf):
        data = _place_data(shelf, place, positions)
        size = _size(data)
        if size > left and pages[-1]:
            pages.append([])
            left = room
        pages[-1].append(data)
        left -= size
    return [{"units": units, "places": places} for places in pages]


def _size(value: object) -> int:
    return len(json_text(value).encode())


def _places(shelf: Shelf) -> list[tuple[str, str, float | None]]:
    """Every place that some unit has a value at, in the order of comparing."""
    return [
        (metric, point, limit)
        for metric, points in compared_points().items()
        for point in points
        for limit in sorted(
            {place[2] for place in shelf.values if place[:2] == (metric, point)},
            key=lambda limit: limit or 0.0,
        )
    ]


def _about(row: Row) -> str:
    return ", ".join(str(row[name]) for name in ("technology", "kind", "state"))


def _place_data(
    shelf: Shelf, place: tuple[str, str, float | None], positions: Mapping[str, int]
) -> dict[str, Any]:
    column = shelf.values[place]
    first = next(iter(column.values()))
    limit = f", {place[2]:g} % distortion" if place[2] is not None else ""
    found = [float(f"{row['value']:.6g}") for row in column.values()]
    return {
        "title": first["title"], "point": shelf.points[place[1]] + limit,
        "ends": [min(found), max(found)],
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


__all__ = ["Press", "comparison_data", "model_page", "question_page", "review_pages"]
