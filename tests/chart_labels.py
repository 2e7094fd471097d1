"""Labels of a chart that lie on each other, run out of the picture or are too small."""

from __future__ import annotations

import altair as alt

from backbench.charts.picture_labels import Label, labelled
from backbench.charts.svg_drawing import svg_of
from backbench.charts.unchecked import specification


def labels_of(chart: alt.TopLevelMixin) -> tuple[list[Label], float, float]:
    """Every text once, and the picture's width and height."""
    drawn = labelled(_svg(chart))
    return list(drawn.labels), drawn.width, drawn.height


def faults_of(chart: alt.TopLevelMixin, least_px: float) -> list[str]:
    """What is wrong with a chart's labels, in words."""
    return labelled(_svg(chart)).faults(least_px)


def _svg(chart: alt.TopLevelMixin) -> str:
    return svg_of(specification(chart))
