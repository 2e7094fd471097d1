"""A page's pictures used by pointer and keys, opened from a disk: read, brought out, zoomed."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import polars as pl
import pytest

from backbench.charts import theme
from backbench.charts.dark_theme import DARK, following_the_screen
from backbench.charts.drawing import Labels, PlainColumn
from backbench.charts.readable_marks import with_readings
from backbench.charts.registry import chart_named
from backbench.charts.svg_drawing import svg_of
from backbench.charts.unchecked import specification
from backbench.publish.render import page as rendered
from backbench.publish.sheet_charts import Picture, picture_values
from backbench.publish.site_builder import READING

UNITS = (("halyard", "Halyard 20", "tube"), ("quillon", "Quillon 40", "solid state"),
         ("wimble", "Wimble 8", "hybrid"))  # fmt: skip
HERTZ = (20.0, 1e3, 20e3)
LABELS = Labels(
    [PlainColumn("frequency_hz", "Hz", "Frequency"), PlainColumn("level_db", "dB", "Level")],
    "Three responses",
)


def pictures() -> Iterator[Picture]:
    """The response of one unit over two, twice."""
    rows = [
        {"unit_key": key, "label": label, "technology": technology, "output": "left",
         "frequency_hz": hertz, "level_db": -0.5 * k * n, "low_db": -2.0, "high_db": 0.5,
         "level_u": 0.05}
        for n, (key, label, technology) in enumerate(UNITS, start=1)
        for k, hertz in enumerate(HERTZ)
    ]  # fmt: skip
    for key in ("a", "b"):
        drawn = chart_named("response").draw(pl.DataFrame(rows), LABELS, "halyard")
        spec = specification(drawn)
        svg = following_the_screen(with_readings(svg_of(spec), spec))
        yield Picture("Responses", "Chart: responses", svg, key)


@pytest.fixture(params=["light", "dark"])
def used(request: pytest.FixtureRequest, page_in: Callable[[str], Any], tmp_path: Path) -> Any:
    """A page with two pictures; whatever it asks of a network, or raises, fails the test."""
    answers = [
        {"heading": str(n), "picture": picture_values(picture, lambda p: p.digest), "rows": [],
         "total": 0, "conditions": ""}
        for n, picture in enumerate(pictures())
    ]  # fmt: skip
    query = SimpleNamespace(title="Responses", question="How do they respond?", name="r", rows="")
    content = rendered(
        "question.html", scripts=READING, site="", here="", query=query, answers=answers,
        trouble="", columns=[], given=[],
    )  # fmt: skip
    (tmp_path / "page.html").write_bytes(content)
    page = page_in(request.param)
    page.goto((tmp_path / "page.html").as_uri())
    return page


def view(page: Any) -> list[float]:
    text = page.locator(".drawn svg").first.get_attribute("viewBox")
    return [float(part) for part in text.split()]


def lit(page: Any) -> list[str]:
    return page.locator(".has-lit .is-lit").evaluate_all(  # type: ignore[no-any-return]
        "(marks) => marks.map((mark) => mark.dataset.name)"
    )


def middle_of(page: Any, name: str) -> tuple[float, float]:
    """Where the second point of a unit's curve is on the screen."""
    x, y = page.evaluate(
        """(name) => {
          const mark = document.querySelector(`[data-name="${name}"]`);
          const [, x, y] = mark.getAttribute("d").match(/^M.*?L([^,]+),([^L]+)L/);
          const at = new DOMPoint(Number(x), Number(y)).matrixTransform(mark.getScreenCTM());
          return [at.x, at.y];
        }""",
        name,
    )
    return x, y


def test_pictures_are_used_by_pointer_and_keys(used: Any) -> None:
    page = used
    frame = page.locator(".drawn").first
    whole = view(page)
    x, y = middle_of(page, "Halyard 20, left")
    page.mouse.move(x + 3, y + 2)
    tip = page.locator(".tip:visible")
    told = tip.inner_text().replace("\u00a0", " ").split("\n")
    assert told == ["Halyard 20, left", "−0.50 dB ± 0.10 dB at 1 kHz"]
    page.mouse.click(x + 3, y + 2)
    assert lit(page) == ["Halyard 20, left"] * 2
    page.mouse.click(x + 3, y + 2)
    assert lit(page) == []

    page.locator("body").click(position={"x": 2, "y": 2})
    while not frame.evaluate("(frame) => frame === document.activeElement"):
        page.keyboard.press("Tab")
    style, width = frame.evaluate(
        "(frame) => [getComputedStyle(frame).outlineStyle, getComputedStyle(frame).outlineWidth]"
    )
    assert style == "solid"
    assert float(width.removesuffix("px")) >= 2
    read = set()
    for key in ("ArrowRight", "ArrowRight", "ArrowDown", "ArrowRight", "ArrowDown"):
        page.keyboard.press(key)
        read.add(tip.inner_text().split("\n")[0])
        assert re.search(r"dB.* at \d+ k?Hz", tip.inner_text().replace("\u00a0", " "))
    assert read == {"Halyard 20, left", "Quillon 40, left", "Wimble 8, left"}
    page.keyboard.press("Enter")
    assert len(lit(page)) == 2

    page.keyboard.press("+")
    assert view(page)[2] == pytest.approx(whole[2] / 1.5, abs=0.1)
    left = view(page)[0]
    page.keyboard.press("Shift+ArrowLeft")
    assert view(page)[0] < left
    page.keyboard.press("Escape")
    assert view(page) == whole
    assert lit(page) == []
    page.mouse.move(x, y)
    page.mouse.wheel(0, -100)
    assert view(page)[2] < whole[2]
    page.get_by_role("button", name="Whole picture").first.click()
    assert view(page) == whole
    page.get_by_role("button", name="Zoom in").first.click()
    page.get_by_role("button", name="Zoom out").first.click()
    assert view(page) == whole


def test_groups_of_marks_are_switched_and_ground_follows_the_theme(used: Any) -> None:
    page = used
    switch = page.get_by_role("button", name="solid state").first
    curve = page.locator('.drawn [data-name="Quillon 40, left"]').first
    own = page.locator('.drawn [data-name="Halyard 20, left"]').first
    assert switch.get_attribute("aria-pressed") == "true"
    switch.click()
    assert switch.get_attribute("aria-pressed") == "false"
    assert (curve.is_visible(), own.is_visible()) == (False, True)
    switch.click()
    assert curve.is_visible()
    dark = page.evaluate("matchMedia('(prefers-color-scheme:dark)').matches")
    ground = page.locator(".drawn svg > rect").first
    shown = ground.evaluate("(rect) => getComputedStyle(rect).fill")
    wanted = DARK[theme.PAPER] if dark else theme.PAPER
    channels = [int(wanted[k : k + 2], 16) for k in (1, 3, 5)]
    assert [int(part) for part in re.findall(r"\d+", shown)] == channels
