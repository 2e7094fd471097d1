"""Charts without Altair's own checks of every part of a specification, which take longer than
the drawing. What a user alters in a finished chart is checked as ever; every declared chart is
checked whole by the tests."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import altair as alt
from altair.utils.schemapi import debug_mode

from backbench.charts.plain_specification import plain_specification


@contextmanager
def unchecked() -> Iterator[None]:
    """Parts of a chart made within are not checked."""
    with debug_mode(False):
        yield


def specification(chart: alt.TopLevelMixin) -> dict[str, Any]:
    """The chart's Vega-Lite specification, with its data."""
    plain = plain_specification(chart)
    if plain is not None:
        return plain
    with unchecked():
        return dict(chart.to_dict(validate=False))
