"""What a query's picture is drawn from, as one hash: where it is the same, so is the picture.

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


def drawn_from(
    query: SavedQuery, frame: pl.DataFrame, values: Mapping[str, str], words: tuple[str, ...],
    settings: Settings | None,
) -> str:  # fmt: skip
    """The hash of a query's answer, its parameters and the words above the picture."""
    digest = hashlib.sha256(program().encode())
    declared = repr((query.name, query.title, query.question, query.columns, query.chart,
                     query.chart_options))  # fmt: skip
    given = repr((sorted(values.items()), words, frame.schema))
    for part in (declared, given, settings.model_dump_json() if settings else ""):
        digest.update(part.encode() + b"\0")
    digest.update(frame.write_json().encode())
    return digest.hexdigest()
