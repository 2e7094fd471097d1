"""What is hard to see in a picture is found in one that has it, and in no chart as it is drawn.

Contrast as in test_chart_theme.py: 3:1 for marks, 4.5:1 for text (WCAG 2, from memory).
"""

from __future__ import annotations

import altair as alt
import polars as pl
import pytest

from backbench.charts.drawing import PAGE, PHONE, Labels, Size
from backbench.charts.line_peaks import line_peaks
from backbench.charts.picture_faults import KINDS, picture_faults
from backbench.charts.registry import charts
from backbench.charts.seen_contrast import blended, contrast
from backbench.charts.svg_drawing import svg_of
from backbench.charts.unchecked import specification
from backbench.publish.picture_survey import VIEWS, survey, survey_lines
from seen_colours import contrast as measured_contrast

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="200" height="100">'
TEXT = '<text transform="translate(20,50)" font-size="{px}px" fill="{colour}">Some words</text>'
DOT = '<g class="mark-symbol"><path transform="translate({x},48)" d="M4,0A4,4,0,1,1,-4,0" fill="{c}"/></g>'  # noqa: E501
OTHER = TEXT.format(px=14, colour="#161616").replace("words", "more")
INK, PALE = "#161616", "#c9c5ba"


def _faults(*parts: str, **how: bool) -> list[str]:
    return [fault.kind for fault in picture_faults(HEAD + "".join(parts) + "</svg>", **how)]


@pytest.mark.parametrize(
    ("parts", "kinds"),
    [
        ([TEXT.format(px=14, colour=INK), DOT.format(x=150, c=INK)], []),
        ([TEXT.format(px=9, colour=INK)], ["small text"]),
        ([TEXT.format(px=14, colour=INK), OTHER], ["labels on each other"]),
        ([TEXT.format(px=14, colour=INK), DOT.format(x=40, c=INK)], ["labels on marks"]),
        ([DOT.format(x=198, c=INK)], ["cut"]),
        ([TEXT.format(px=14, colour="#8b867a")], ["faint text"]),
        ([DOT.format(x=150, c=PALE)], ["faint marks"]),
    ],
)  # fmt: skip
def test_each_kind_of_fault_is_found(parts: list[str], kinds: list[str]) -> None:
    assert _faults(*parts) == kinds


def test_a_mark_is_held_against_what_it_lies_on() -> None:
    cell = '<rect x="100" y="20" width="90" height="60" fill="#8b867a"/>'
    assert _faults(DOT.format(x=150, c="#b4541a")) == []
    assert _faults(cell, DOT.format(x=150, c="#b4541a")) == ["faint marks"]


def test_a_share_of_a_colour_is_what_is_seen() -> None:
    assert blended("#000000", "#ffffff", 0.25) == "#bfbfbf"
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    for colour in ("#b4541a", "#4f9d8c", "#8b867a"):
        assert contrast(colour, "#fdfcf8") == pytest.approx(measured_contrast(colour), rel=1e-3)


def test_peaks_are_where_a_line_turns_by_more_than_a_few_pixels() -> None:
    line = [(0.0, 50.0), (10.0, 10.0), (20.0, 48.0), (30.0, 46.0), (40.0, 90.0), (50.0, 60.0)]
    assert line_peaks(line) == [(10.0, 10.0), (40.0, 90.0)]
    assert line_peaks(line[:2]) == []


def _svg(chart: alt.TopLevelMixin) -> str:
    return svg_of(specification(chart))


@pytest.mark.parametrize("name", sorted(charts()))
@pytest.mark.parametrize(("size", "least"), [(PAGE, 896), (PHONE, 326)])
def test_no_chart_has_a_fault(
    name: str, size: Size, least: int, frames: dict[str, pl.DataFrame]
) -> None:
    labels = Labels(title="A heading", question="A question?", note="1 kHz, 8 ohm")
    svg = _svg(charts()[name].draw(frames[name], labels, "u0", size))
    for dark in (False, True):
        assert picture_faults(svg, least / size.width, dark=dark) == []


def test_the_survey_counts_pictures_and_faults_as_they_are_seen() -> None:
    small = HEAD.replace('width="200"', 'width="960"') + TEXT.format(px=11.5, colour=INK) + "</svg>"
    counts = survey([small])
    assert {name: dict(found) for name, found in counts.items() if found} == {
        view.name: {"pictures": 1} | ({"small text": 1} if view.width == 896 else {})
        for view in VIEWS if not view.narrow and not view.printed
    }  # fmt: skip
    lines = list(survey_lines(counts))
    assert len(lines) == len(VIEWS)
    assert all(kind in line for line in lines for kind in KINDS)
    assert "small text 1" in lines[0]


LINE = '<path d="M9,{y}L99,{y}" data-name="{name}" stroke="{ink}" stroke-width="2.2"{dash}/>'


def _two_lines(*dashes: str) -> str:
    drawn = (
        LINE.format(y=20 + 20 * k, name=f"curve {k}", ink=INK, dash=dash)
        for k, dash in enumerate(dashes)
    )
    return f'{HEAD}<g class="mark-line">{"".join(drawn)}</g></svg>'


def test_two_curves_that_look_the_same_are_a_fault() -> None:
    dashed = ' stroke-dasharray="7,3"'
    found = picture_faults(_two_lines(dashed, dashed))
    assert [(fault.kind, fault.text) for fault in found] == [
        ("drawn alike", "'curve 0' and 'curve 1' are drawn alike")
    ]
    assert picture_faults(_two_lines("", dashed)) == []


def test_a_picture_for_paper_is_seen_on_paper_alone() -> None:
    svg = HEAD.replace('width="200"', 'width="690"') + "</svg>"
    seen = {name for name, found in survey([svg]).items() if found}
    assert seen == {view.name for view in VIEWS if view.printed}
