"""The page of a model: all its samples, their pictures, and how they differ."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import Any

from backbench.comparison.compared_sides import two_units
from backbench.comparison.standings import Standing
from backbench.publish import finding_sentences
from backbench.publish.difference_tables import main_differences
from backbench.publish.output_files import OutputFile
from backbench.publish.peer_strips import PeerStrip
from backbench.publish.reading_tables import peer_strip_of
from backbench.publish.scorecard import ranked
from backbench.publish.sheet_charts import Picture
from backbench.publish.site_builder import SiteBuilder
from backbench.publish.site_data import Row, slug

MOST_PAIRS = 6
MOST_CHANGES = 12


def model_page(builder: SiteBuilder, maker: str, model: str) -> Iterator[OutputFile]:
    """All samples of a model: their responses over each other, the standing of each, what they
    are, and the first few pairs compared."""
    keys = builder.site_data.models[maker, model]
    pictures = []
    for picture in _model_pictures(builder, f"{maker} {model}", keys):
        values, files = builder.save_picture(picture)
        pictures.append(values)
        yield from files
    yield builder.put(
        f"models/{slug(maker, model)}.html", "model.html", "makers.html", maker=maker,
        model=model, units=[builder.site_data.units[key] for key in keys], pictures=pictures,
        standings=list(_standings(builder, keys)),
        pairs=[_pair(builder, a, b) for a, b in _neighbours(keys)],
    )  # fmt: skip


OVERLAID = "responses-overlaid"
LAID_TOGETHER = ("first", "second", "third", "fourth")
"""Saved query that lays the responses of units over each other, and its parameters."""


def _model_pictures(builder: SiteBuilder, name: str, keys: Sequence[str]) -> Iterator[Picture]:
    units_of = builder.site_data.units
    charted = [key for key in keys if units_of[key]["review_key"] in builder.charted]
    if len(keys) > 1 and charted:
        units = dict(zip(LAID_TOGETHER, keys, strict=False))
        overlaid = builder.renderer.draw(OVERLAID, f"Responses of units: {name}", **units)
        if overlaid:
            yield overlaid
    for key in keys[: len(LAID_TOGETHER)]:
        card = builder.card(key)
        if card:
            yield card


MOST_STRIPS = 6
"""Figures of a unit without a scorecard; as many as one has."""


def _standings(
    builder: SiteBuilder, keys: Sequence[str]
) -> Iterator[tuple[Row, list[tuple[Standing, PeerStrip | None]]]]:
    """Units that have no scorecard, each with its main figures among its peers."""
    for key in keys[: len(LAID_TOGETHER)]:
        unit = builder.site_data.units[key]
        if unit["review_key"] in builder.carded:
            continue
        compared = builder.compared(key)
        lines = ranked(compared.lines)[:MOST_STRIPS]
        if lines:
            yield (
                unit,
                [(line, peer_strip_of(line, builder.site_data, compared.peers)) for line in lines],
            )


def _neighbours(keys: Sequence[str]) -> list[tuple[str, str]]:
    return list(itertools.pairwise(keys))[:MOST_PAIRS]


def _pair(builder: SiteBuilder, first: str, second: str) -> dict[str, Any]:
    differences = main_differences(two_units(builder.renderer.store, first, second))
    apart = [d for d in differences if (d.beyond or 0) > 1]
    return {
        "first": first, "second": second, "differences": apart[:MOST_CHANGES],
        "summary": finding_sentences.samples_sentence(differences, first, second),
    }  # fmt: skip
