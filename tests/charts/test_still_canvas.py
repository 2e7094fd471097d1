"""Stills: exact sizes, both themes, no ground, two pictures as large as they go together."""

from __future__ import annotations

import io
import itertools
from concurrent.futures import ProcessPoolExecutor

import polars as pl
import pytest
from PIL import Image

from backbench.charts import pixels, theme
from backbench.charts.dark_theme import DARK
from backbench.charts.drawing import PHONE, Labels, Size
from backbench.charts.image_export import size_of
from backbench.charts.registry import chart_named
from backbench.charts.still_canvas import Canvas, placed, still_png, still_svg
from backbench.charts.svg_drawing import svg_of
from backbench.charts.unchecked import specification

SIZES = (Size(1920, 1080), Size(3840, 2160), Size(1080, 1920), Size(1080, 1080))


@pytest.fixture
def drawn(frames: dict[str, pl.DataFrame]) -> tuple[str, Size]:
    spec = specification(chart_named("strip").draw(frames["strip"], Labels(), "u0", PHONE))
    return svg_of(spec), size_of(spec)


@pytest.mark.parametrize(
    ("size", "dark", "transparent"),
    [(SIZES[0], False, False), (SIZES[2], True, False), (SIZES[3], True, True)],
)
def test_a_still_has_its_size_and_ground(
    drawn: tuple[str, Size], size: Size, *, dark: bool, transparent: bool
) -> None:
    content = still_png([drawn, drawn], Canvas(size, dark=dark, transparent=transparent))
    image = Image.open(io.BytesIO(content)).convert("RGBA")
    assert image.size == (size.width, size.height)
    paper = DARK[theme.PAPER] if dark else theme.PAPER
    ink = DARK[theme.INK] if dark else theme.INK
    *corner, alpha = image.getpixel((0, 0))
    assert alpha == (0 if transparent else 255)
    assert transparent or corner == [int(paper[k : k + 2], 16) for k in (1, 3, 5)]
    wanted = (*tuple(int(ink[k : k + 2], 16) for k in (1, 3, 5)), 255)
    halves = (image.crop((0, 0, size.width // 2, size.height)),
              image.crop((size.width // 2, 0, size.width, size.height)))  # fmt: skip
    if size.width > size.height:
        assert all(wanted in {colour for _, colour in half.getcolors(1 << 24)} for half in halves)


@pytest.mark.parametrize("canvas", SIZES)
@pytest.mark.parametrize("sizes", [[Size(340, 480)], [Size(340, 480), Size(340, 430)],
                                   [Size(960, 540), Size(960, 540)]])  # fmt: skip
def test_pictures_lie_inside_apart_and_as_large_as_they_go(canvas: Size, sizes: list[Size]) -> None:
    place = placed(sizes, canvas)
    boxes = [
        (x, y, x + s.width * place.scale, y + s.height * place.scale)
        for (x, y), s in zip(place.corners, sizes, strict=True)
    ]
    for left, top, right, bottom in boxes:
        assert left >= 0
        assert top >= 0
        assert right <= canvas.width + 1e-6
        assert bottom <= canvas.height + 1e-6
    for a, b in itertools.combinations(boxes, 2):
        assert a[2] < b[0] or a[3] < b[1]
    wide = max(box[2] for box in boxes) - min(box[0] for box in boxes)
    high = max(box[3] for box in boxes) - min(box[1] for box in boxes)
    margin = 0.04 * min(canvas.width, canvas.height)
    assert max(wide - (canvas.width - margin), high - (canvas.height - margin)) == pytest.approx(
        0.0, abs=1e-6
    )


def test_a_picture_of_the_same_proportions_fills_the_still() -> None:
    place = placed([Size(960, 540)], Size(3840, 2160))
    assert (place.scale, place.corners) == (4.0, ((0.0, 0.0),))


CLIPPED = '<g class="one" clip-path="url(#plot)"><path d="M0,0L9,9"/></g>'


def test_groups_after_one_another_are_clipped_once() -> None:
    apart = f'<svg>{CLIPPED}{CLIPPED}<g class="two">{CLIPPED}</g></svg>'
    once = still_svg([(apart, Size(960, 540))], Canvas())
    bare = '<g class="one"><path d="M0,0L9,9"/></g>'
    clipped = 'clip-path="url(#k0-plot)"'
    assert f"<g {clipped}>{bare}{bare}</g>" in once
    assert f'<g class="two"><g class="one" {clipped}>' in once
    assert once.count(clipped) == 2


def test_another_process_converts_the_same_and_its_end_loses_no_picture(
    drawn: tuple[str, Size], monkeypatch: pytest.MonkeyPatch
) -> None:
    began: list[ProcessPoolExecutor] = []
    start = pixels.started_pool
    monkeypatch.setattr(pixels, "started_pool", lambda *a: began.append(start(*a)) or began[0])
    here = pixels.png_of(drawn[0])
    with pixels.converting(2) as convert:
        assert convert(drawn[0])() == here
        for process in began[0]._processes.values():
            process.kill()
        assert [png() for png in (convert(drawn[0]), convert(drawn[0]))] == [here, here]
    with pixels.converting(1) as convert:
        assert convert(drawn[0])() == here
    assert len(began) == 1
