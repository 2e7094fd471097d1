"""What a picture is drawn from, as one hash: where it is the same, so is the picture.

The hash is over everything that a chart is handed, over the settings (which may declare kinds of
unit and quantities) and over the program with its drawing libraries. It costs a tenth of putting
the chart together only to see that it was drawn before.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache
from importlib.metadata import version
from typing import TYPE_CHECKING

from backbench.publish.output_files import digest_of

if TYPE_CHECKING:
    import polars as pl

    from backbench.documents.settings import Settings
    from backbench.querying.saved_queries import SavedQuery

LIBRARIES = ("altair", "vl-convert-python")


@cache
def program() -> str:
    """This program and the libraries that draw."""
    return " ".join([digest_of([]), *map(version, LIBRARIES)])


def drawn_from(source: str, settings: Settings | None) -> str:
    """The hash of what a picture is drawn from, in words, and of what everything is drawn by."""
    digest = hashlib.sha256(program().encode())
    for part in (source, settings.model_dump_json() if settings else ""):
        digest.update(part.encode() + b"\0")
    return digest.hexdigest()


def answer_drawn(
    query: SavedQuery, frame: pl.DataFrame, values: Mapping[str, str], words: tuple[str, ...]
) -> str:
    """A query's answer with its parameters and the words above its picture, as a source."""
    declared = repr((query.name, query.title, query.question, query.columns, query.chart,
                     query.chart_options))  # fmt: skip
    given = repr((sorted(values.items()), words, frame.schema))
    return f"{declared}\0{given}\0{frame.write_json()}"
