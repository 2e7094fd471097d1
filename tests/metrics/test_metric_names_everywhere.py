"""Metrics in their usual writings, at every place where one is typed."""

from __future__ import annotations

import typing
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import typer
from pydantic import BaseModel

from backbench.backfill.column_map import ColumnMap, read_map
from backbench.cli import app
from backbench.comparison import regression
from backbench.documents.manifest import Manifest, read_manifest
from backbench.documents.settings import Settings
from backbench.ingest.metric_spellings import under_metric_keys
from backbench.metrics.registry import registry
from backbench.querying.parameter_values import parameter_value
from backbench.querying.query_header import read_header
from backbench.reports.reading_list import reading_list
from backbench.storage.database import Database

WRITINGS = {"THD": "thd", "thd+n": "thd_n", "Damping factor": "damping_factor", "S-N-R": "snr"}
MANIFEST = """\
[review]
key = "r"
date = 2024-05-11
bench = "garage"
mains_hz = 50
[[unit]]
key = "u"
maker = "Marrowgate"
model = "Heron 40"
kind = "integrated amplifier"
technology = "tube"
state = "serviced"
[[unit.published]]
metric = "{metric}"
at_most = "1"
printed_in = "manual"
[tracks]
1 = {{ unit = "u", output = "left" }}
[[entered]]
metric = "{metric}"
unit = "u"
output = "left"
value = "1"
origin = "notebook"
"""
COLUMN_MAP = """\
[review]
bench = {{ always = "garage" }}
date = {{ always = 2024-05-11 }}
mains_hz = {{ always = 50 }}
[unit]
maker = {{ column = "Maker" }}
model = {{ column = "Model" }}
kind = {{ always = "receiver" }}
technology = {{ always = "tube" }}
state = {{ always = "serviced" }}
[[reading]]
column = "Figure"
metric = "{metric}"
output = "both"
"""


class Asked(Exception):
    """Ends a command where it would ask the database. key: the metric that it asks for."""

    def __init__(self, key: object) -> None:
        self.key = key


class Known(Database):
    """A database that knows every metric, and says which is asked for."""

    def __init__(self) -> None:
        pass

    def rows(self, sql: str, values: object = None) -> list[tuple[object, ...]]:
        return [(name,) for name in registry().metrics]

    def frame(self, sql: str, values: typing.Any = None) -> typing.Any:
        raise Asked(values["metric"])


def _asked(call: Callable[[], object]) -> object:
    with pytest.raises(Asked) as caught:
        call()
    return caught.value.key


def published(text: str, folder: Path) -> object:
    manifest = under_metric_keys(read_manifest(MANIFEST.format(metric=text).encode(), "m"))
    return manifest.unit[0].published[0].metric


def entered(text: str, folder: Path) -> object:
    manifest = under_metric_keys(read_manifest(MANIFEST.format(metric=text).encode(), "m"))
    return manifest.entered[0].metric


def column_map(text: str, folder: Path) -> object:
    path = folder / "map.toml"
    path.write_text(COLUMN_MAP.format(metric=text))
    return read_map(path).reading[0].metric


def readings(text: str, folder: Path) -> object:
    nothing_stale = typing.cast("typing.Any", None)
    return _asked(lambda: reading_list(Known(), "r", text, nothing_stale, in_words=False))


def trend(text: str, folder: Path) -> object:
    return _asked(lambda: regression.quantity(Known(), f"{text}@tone-1khz-5w-8ohm"))


def parameter_of_a_query(text: str, folder: Path) -> object:
    return parameter_value("metric", "metric", text)


def header_of_a_query(text: str, folder: Path) -> object:
    return read_header(f"-- metric: {text}\n", "q.sql")[0].metrics[0]


PLACES: dict[str, Callable[[str, Path], object]] = {
    "PublishedFigure.metric": published, "Entered.metric": entered,
    "ReadingColumn.metric": column_map, "readings --metric": readings,
    "trend y": trend, "trend x": trend, "query --set metric": parameter_of_a_query,
    "-- metric: of a query's header": header_of_a_query,
}  # fmt: skip


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("text", WRITINGS)
def test_the_usual_writings_are_taken(place: str, text: str, tmp_path: Path) -> None:
    assert PLACES[place](text, tmp_path) == WRITINGS[text]


def _models(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    seen, waiting = set(), [typing.cast("typing.Any", model)]
    while waiting:
        item = waiting.pop()
        if item in seen:
            continue
        seen.add(item)
        if isinstance(item, type) and issubclass(item, BaseModel):
            yield item
            waiting += [field.annotation for field in item.model_fields.values()]
        waiting += typing.get_args(item)


def test_no_other_key_of_a_file_names_a_metric() -> None:
    named = {
        f"{model.__name__}.{name}"
        for root in (Manifest, Settings, ColumnMap)
        for model in _models(root)
        for name in model.model_fields
        if name in ("metric", "metrics")
    }
    assert named == {"PublishedFigure.metric", "Entered.metric", "ReadingColumn.metric"}


def test_no_other_option_names_a_metric() -> None:
    group = typer.main.get_command(app)
    named = {
        f"{name} {option.opts[0]}"
        for name, command in group.commands.items()  # type: ignore[attr-defined]
        for option in command.params
        if option.name in ("metric", "metrics", "y", "x")
        or "a metric" in (getattr(option, "help", None) or "").lower()
    }
    assert named == {"readings --metric", "trend y", "trend x"}
