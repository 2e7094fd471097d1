"""All pictures of a site on one page: sizes, theme, and labels that can't be read."""

from __future__ import annotations

import base64
import re
from pathlib import Path

import pytest

from backbench.charts.dark_theme import DARK, following_the_screen
from backbench.charts.theme import INK
from backbench.errors import UserError
from backbench.publish.contact_sheet import contact_sheet, shown_picture

TEXT = '<text transform="translate({x},40)" font-size="{size}px" fill="#161616">{text}</text>'


def _svg(*texts: tuple[float, float, str], width: int = 960) -> str:
    drawn = "".join(TEXT.format(x=x, size=size, text=text) for x, size, text in texts)
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="540">'
    return following_the_screen(f"{head}{drawn}</svg>")


def _site(folder: Path, **pictures: str) -> Path:
    (folder / "charts").mkdir(parents=True)
    for name, svg in pictures.items():
        (folder / "charts" / f"{name}.svg").write_text(svg)
    return folder


def test_a_picture_is_checked_at_the_width_that_it_is_shown_at() -> None:
    svg = _svg((20, 21, "A finding"), (300, 13, "A label"))
    assert shown_picture("a", svg, 960).faults == ()
    assert shown_picture("a", svg, 360).faults == (
        "'A finding' is 21 px", "'A label' is 13 px",
    )  # fmt: skip
    assert (shown_picture("a", svg, 360).width, shown_picture("a", svg, 360).height) == (360, 202)


def test_what_was_drawn_for_a_phone_keeps_its_width() -> None:
    narrow = shown_picture("a", _svg((20, 13, "A label"), width=340), 960)
    assert (narrow.width, narrow.faults) == (340, ())


def test_overlapping_and_cut_labels_are_named() -> None:
    svg = _svg((20, 21, "A finding"), (40, 21, "Another"), (900, 14, "Beyond the edge"))
    assert shown_picture("a", svg, 960).faults == (
        "'A finding' lies on 'Another'", "'Beyond the edge' runs out of the picture",
    )  # fmt: skip


@pytest.mark.parametrize("dark", [False, True])
def test_the_page_holds_every_picture_in_one_theme(tmp_path: Path, dark: bool) -> None:
    site = _site(tmp_path / "site", a=_svg((20, 21, "One &amp; two")), b=_svg((20, 9, "Small")))
    shown = contact_sheet(site, tmp_path / "all.html", 960, dark=dark)
    page = (tmp_path / "all.html").read_text()
    assert len(shown) == page.count("<figure") == 2
    assert "2 pictures, 960 px wide, " + ("dark" if dark else "light") in page
    assert "1 with something that is hard to see" in page
    assert page.index("Small") < page.index("One &amp; two")
    for content in re.findall(r"base64,([^\"]+)", page):
        svg = base64.b64decode(content).decode()
        assert "@media" not in svg
        assert (f'[fill="{INK}"]{{fill:{DARK[INK]}}}' in svg) is dark


def test_a_file_that_is_no_picture_is_named(tmp_path: Path) -> None:
    site = _site(tmp_path / "site", a="<svg")
    with pytest.raises(UserError, match=r"a\.svg"):
        contact_sheet(site, tmp_path / "all.html", 960, dark=False)


def test_a_folder_without_a_site_is_refused_with_the_remedy(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="backbench publish"):
        contact_sheet(tmp_path, tmp_path / "all.html", 960, dark=False)
