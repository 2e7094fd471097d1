"""What every page draws on, read once: units, reviews, and the values that peers are shown by."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from backbench.comparison.comparable_values import OF_ALL, compared_values
from backbench.documents.unit_facts import KEY
from backbench.metrics.declared_traits import declarations
from backbench.storage.answers_ahead import without_answers_ahead
from backbench.storage.database import Database

if TYPE_CHECKING:
    import polars as pl

Row = Mapping[str, Any]
Place = tuple[str, str, float | None]
"""A metric, a test point, and a distortion limit where the metric has one."""

UNITS = "SELECT * EXCLUDE (serial) FROM peer ORDER BY maker, model, unit_key"
REVIEWS = "FROM review ORDER BY reviewed DESC, review_key"
APPEARANCES = (
    "SELECT appearance.* EXCLUDE (serial), label, reviewed FROM appearance "
    "JOIN review USING (review_key) JOIN (SELECT unit_key, label FROM peer) USING (unit_key) "
    "ORDER BY reviewed DESC, review_key, position"
)


@dataclass(frozen=True)
class SiteData:
    """The whole catalogue as rows: serial numbers are left out, for they are nobody's business.

    values: of each place, the worse output of each unit; shown: value, unit and bound of the
    same at the places of the overview, a fraction of them. Both are read when they are first
    asked for. models: unit keys by maker and model.
    """

    units: Mapping[str, Row]
    reviews: Mapping[str, Row]
    appearances: tuple[Row, ...]
    values: Mapping[Place, Mapping[str, Row]]
    shown: Mapping[Place, Mapping[str, Row]]
    points: Mapping[str, str]
    models: Mapping[tuple[str, str], tuple[str, ...]] = field(default_factory=dict)

    def reviews_of(self, unit_key: str) -> list[Row]:
        """A unit's appearances, newest first."""
        return list(self._by_unit.get(unit_key, ()))

    def units_in(self, review_key: str) -> list[Row]:
        """The appearances of one review, in the manifest's order."""
        return list(self._by_review.get(review_key, ()))

    @cached_property
    def _by_unit(self) -> Mapping[str, list[Row]]:
        return _by("unit_key", self.appearances)

    @cached_property
    def _by_review(self) -> Mapping[str, list[Row]]:
        return _by("review_key", self.appearances)

    def models_by_review(self) -> dict[str, list[tuple[str, str]]]:
        """Maker and model by the review that is the newest of any of the model's units."""
        result: dict[str, list[tuple[str, str]]] = {}
        for model, keys in self.models.items():
            newest = max(
                (self.units[key] for key in keys),
                key=lambda row: (row["reviewed"], row["review_key"]),
            )
            result.setdefault(newest["review_key"], []).append(model)
        return result

    def makers(self) -> dict[str, list[tuple[str, str]]]:
        """Models by maker, both in order of name."""
        by_maker: dict[str, list[tuple[str, str]]] = {}
        for maker, model in sorted(self.models, key=lambda key: (key[0].lower(), key[1].lower())):
            by_maker.setdefault(maker, []).append((maker, model))
        return by_maker


def _by(key: str, rows: Iterable[Row]) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(str(row[key]), []).append(row)
    return found


SHARED_VIEWS = (
    "peer", "capture_outcome", "across_captures", "unit_period", "unit", "before_after",
)  # fmt: skip
ASKED_AGAIN = "placed"
"""The largest view, which the pages of units and questions ask for and those that list don't."""


def keep_views(store: Database) -> None:
    """Work the views that every page asks for out once, as tables of this connection alone.

    They stand before the views of the same names as long as the connection is open; only for a
    connection that reads, for they don't follow what is written. Asked again, it does nothing.
    """
    for view in SHARED_VIEWS:
        _keep(store, view)


def keep_values(store: Database) -> None:
    """The same of every value at a test point, for who asks for them more than once."""
    _keep(store, ASKED_AGAIN)


def _keep(store: Database, view: str) -> None:
    store.run(f"CREATE TEMP TABLE IF NOT EXISTS {view} AS SELECT * FROM main.{view}")


OWN_VIEWS = ("reading", "curve", "published")


@contextmanager
def as_of_review(store: Database, unit_key: str, review_key: str) -> Iterator[None]:
    """Within it, queries know of one unit only what this review of it found, as its present state.

    Other units stay as they are. Views of this connection alone stand before the tables of the
    same names; what rests on the database's own views is not reached, so it suits queries that
    ask the tables. For a connection that reads, whose views are kept first (`keep_views`).
    """
    assert KEY.fullmatch(unit_key)
    assert KEY.fullmatch(review_key)
    with without_answers_ahead(store):
        yield from _as_of_review(store, unit_key, review_key)


def _as_of_review(store: Database, unit_key: str, review_key: str) -> Iterator[None]:
    keep_views(store)
    ((database,),) = store.rows("SELECT current_database()")
    try:
        for name in OWN_VIEWS:
            store.run(
                f'CREATE TEMP VIEW {name} AS SELECT * FROM "{database}".main.{name} '
                f"WHERE unit_key <> '{unit_key}' OR review_key = '{review_key}'"
            )
        store.run("DROP TABLE temp.unit_period")
        store.run(
            f"CREATE TEMP TABLE unit_period AS SELECT * REPLACE (standing OR unit_key = "
            f"'{unit_key}' AS standing) FROM \"{database}\".main.unit_period "
            f"WHERE unit_key <> '{unit_key}' OR review_key = '{review_key}'"
        )
        yield
    finally:
        for name in OWN_VIEWS:
            store.run(f"DROP VIEW IF EXISTS temp.{name}")
        store.run("DROP TABLE IF EXISTS temp.unit_period")
        keep_views(store)


def read_site_data(store: Database) -> SiteData:
    """Everything from an open store."""
    units = {str(row["unit_key"]): row for row in _rows(store.frame(UNITS))}
    models: dict[tuple[str, str], list[str]] = {}
    for key, row in units.items():
        models.setdefault((str(row["maker"]), str(row["model"])), []).append(key)
    return SiteData(
        units=units,
        reviews={str(row["review_key"]): row for row in _rows(store.frame(REVIEWS))},
        appearances=tuple(_rows(store.frame(APPEARANCES))),
        values=_ValuesByPlace(store, {}, "*"),
        shown=_ValuesByPlace(store, _of_overview(), "^(unit_key|value|unit|bound)$"),
        points={str(key): str(title) for key, title in store.rows(POINTS)},
        models={key: tuple(keys) for key, keys in models.items()},
    )


def overview() -> list[tuple[str, Place]]:
    """The figures that the overview shows of every unit, each at one test point: heading, place."""
    known = declarations()
    shown = [(name, known.traits(name).overview) for name in known.having(lambda t: t.overview)]
    return [(o.title, (name, o.point, o.limit_percent)) for name, o in shown if o is not None]


def _of_overview() -> dict[str, Any]:
    places = [place for _, place in overview()]
    return {
        "metrics": sorted({metric for metric, _, _ in places}),
        "points": sorted({point for _, point, _ in places}),
    }


POINTS = "SELECT point_key, title FROM test_point"


class _ValuesByPlace(Mapping[Place, Mapping[str, Row]]):
    """The values of units by place; made rows of only where a place is asked for."""

    def __init__(self, store: Database, narrowed: Mapping[str, Any], columns: str) -> None:
        """narrowed: parameters of the statement in place of those by which all is compared.
        columns: of the rows, as frames choose them."""
        self._store, self._narrowed, self._columns = store, narrowed, columns
        self._made: dict[Place, dict[str, Row]] = {}

    @cached_property
    def _parts(self) -> dict[Any, pl.DataFrame]:
        values = self._store.frame(OF_ALL, {**compared_values(), **self._narrowed})
        return values.partition_by(["metric", "point_key", "limit_percent"], as_dict=True)

    def __getitem__(self, place: Place) -> Mapping[str, Row]:
        if place not in self._made:
            rows = _rows(self._parts[place].select(self._columns))
            self._made[place] = {str(row["unit_key"]): row for row in rows}
        return self._made[place]

    def __iter__(self) -> Iterator[Place]:
        return iter(self._parts)

    def __len__(self) -> int:
        return len(self._parts)


def _rows(frame: pl.DataFrame) -> list[Row]:
    return list(frame.iter_rows(named=True))


def slug(maker: str, model: str) -> str:
    """A file name for a model: its letters and digits, and a few of a hash, so that no two of
    different names meet."""
    words = re.sub(r"[^a-z0-9]+", "-", f"{maker} {model}".lower()).strip("-")[:60]
    digits = hashlib.sha256(f"{maker}\0{model}".encode()).hexdigest()[:6]
    return f"{words}-{digits}" if words else digits
