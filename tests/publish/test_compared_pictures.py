"""The pictures of the page for comparing are read with their style's looks: faults are found."""

from __future__ import annotations

from pathlib import Path

from backbench.charts import theme
from backbench.charts.drawing import Size
from backbench.charts.picture_faults import picture_faults
from backbench.publish.compared_pictures import looks_of, some_compared, with_looks
from backbench.publish.picture_survey import survey_as_drawn
from backbench.publish.still_survey import shown_scale

STYLE = """:root{--paper:#fdfcf8;--ink:#161616;--rule:#d6d1c3}
.overlay text{font-size:13px;fill:var(--ink)}
.overlay .end{text-anchor:end}
.overlay path{fill:none}
.overlay .curve{stroke-width:2}
.overlay .c0{stroke:var(--ink)}
.overlay .beyond{fill:var(--paper);stroke:var(--ink);stroke-width:1.6}
"""
CURVE = '<path class="curve c0" d="M10 {y}L90 {y}" stroke-dasharray="{dash}"><title>{name}</title></path>'  # noqa: E501
RING = '<circle class="beyond" cx="50" cy="20" r="4"><title>at 1 kHz</title></circle>'
LABEL = '<text x="80" y="{y}" class="end">Some words</text>'


def _drawn(*parts: str) -> str:
    svg = f'<svg class="overlay" width="100" height="100">{"".join(parts)}</svg>'
    return with_looks(svg, looks_of(STYLE))


def _kinds(*parts: str) -> list[str]:
    return [fault.kind for fault in picture_faults(_drawn(*parts))]


def test_looks_are_the_styles() -> None:
    looks = looks_of(STYLE)
    assert looks["text"] == {"font-size": "13px", "fill": theme.INK}
    assert looks[".c0"] == {"stroke": theme.INK}


def test_faults_of_such_a_picture_are_found() -> None:
    whole = [CURVE.format(y=20, dash="", name="A"), CURVE.format(y=40, dash="8 3", name="B")]
    assert _kinds(*whole, RING, LABEL.format(y=80)) == []
    assert _kinds(whole[0], CURVE.format(y=40, dash="", name="B")) == ["drawn alike"]
    assert _kinds(RING, LABEL.format(y=24)) == ["labels on marks"]
    assert _kinds(LABEL.format(y=80), LABEL.format(y=84)) == ["labels on each other"]
    assert _kinds(RING.replace('cy="20"', 'cy="98"')) == ["cut"]


def test_they_are_counted_on_light_and_dark() -> None:
    counts = survey_as_drawn("page", [_drawn(RING, LABEL.format(y=24))])
    assert {name: dict(found) for name, found in counts.items()} == {
        name: {"pictures": 1, "labels on marks": 1} for name in ("page", "page, dark")
    }


def test_a_site_without_the_page_says_so(tmp_path: Path) -> None:
    pictures, left_out = some_compared(tmp_path)
    assert pictures == []
    assert "no page" in left_out


def test_stills_are_seen_at_half_of_a_screen() -> None:
    page = Size(960, 540)
    assert shown_scale([page], Size(1920, 1080)) == 1.0
    assert shown_scale([page], Size(3840, 2160)) == 1.0
    assert shown_scale([Size(600, 600)], Size(1080, 1080)) == 0.9
