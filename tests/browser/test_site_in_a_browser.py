"""The published pages opened from a disk in a real browser, and used."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from backbench.publish.render import json_text
from published import HOSTILE, LATER, MAKER, MODEL, PLAIN

WIDTHS = (360, 1280, 1920)
KINDS = (
    "index.html", "makers.html", "reviews.html", "questions.html", "method.html",
    f"compare.html#{PLAIN},{HOSTILE}", f"units/{HOSTILE}.html",
    f"sheets/{LATER}.html", "sheets/2020-01-hostile.html", "questions/balance-against-age.html",
    "questions/captures-with-flags.html",
)  # fmt: skip
LOOKED_AT = """
(width) => {
  const every = [...document.querySelectorAll('main *')];
  const cut = every.filter((e) => {
    const s = getComputedStyle(e);
    return ['hidden', 'clip'].includes(s.overflowX) && !e.closest('svg, .unseen, thead')
      && e.clientWidth > 1 && e.scrollWidth > e.clientWidth + 1;
  });
  const beyond = every.filter((e) => {
    const r = e.getBoundingClientRect();
    return r.width > 1 && (r.right > width + 1 || r.left < -1)
      && !e.closest('.scroll, thead, svg');
  });
  return {
    headings: document.querySelectorAll('h1').length,
    broken: [...document.images].filter((i) => i.complete && !i.naturalWidth).length,
    wide: Math.max(0, document.documentElement.scrollWidth - width),
    cut: cut.map((e) => e.outerHTML.slice(0, 120)),
    beyond: beyond.map((e) => e.outerHTML.slice(0, 120)),
  };
}
"""
RIGHT = {"headings": 1, "broken": 0, "wide": 0, "cut": [], "beyond": []}


BROKEN_WORDS = r"""
() => {
  const broken = [];
  for (const cell of document.querySelectorAll('.scroll td, .scroll th')) {
    const room = cell.clientWidth - parseFloat(getComputedStyle(cell).paddingRight);
    const walk = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
    for (let node = walk.nextNode(); node; node = walk.nextNode()) {
      for (const word of node.data.matchAll(/\d{4}-\d\d-\d\d|[^\s\-]+/g)) {
        const range = document.createRange();
        range.setStart(node, word.index);
        range.setEnd(node, word.index + word[0].length);
        const lines = [...range.getClientRects()];
        const length = lines.reduce((sum, line) => sum + line.width, 0);
        if (new Set(lines.map((line) => Math.round(line.top))).size > 1 && length < room)
          broken.push(word[0]);
      }
    }
  }
  return broken;
}
"""


def address(site: Path, path: str) -> str:
    file, _, place = path.partition("#")
    return (site / file).as_uri() + (f"#{place}" if place else "")


def test_on_a_phone_tables_of_answers_break_no_date_and_no_word_that_has_room(
    page: Any, site: Path
) -> None:
    page.set_viewport_size({"width": WIDTHS[0], "height": 900})
    for path in sorted((site / "questions").glob("*.html")):
        page.goto(path.as_uri())
        page.evaluate(
            "() => document.querySelectorAll('details').forEach((d) => { d.open = true })"
        )
        assert page.evaluate(BROKEN_WORDS) == [], path.name


def test_every_page_opens_alone_and_fits(page: Any, site: Path) -> None:
    """Every page as narrow as can be; one of each kind at the other widths too."""
    paths = sorted(p.relative_to(site).as_posix() for p in site.rglob("*.html"))
    assert len(paths) > 50
    kinds = {address(site, path).partition("#")[0] for path in KINDS}
    for path in paths:
        page.goto(address(site, path))
        for width in WIDTHS if address(site, path) in kinds else WIDTHS[:1]:
            page.set_viewport_size({"width": width, "height": 900})
            assert page.evaluate(LOOKED_AT, width) == RIGHT, (path, width)


EVERY_RULE = {"resultTypes": ["violations"]}
OF_COLOURS = {**EVERY_RULE, "runOnly": {"type": "tag", "values": ["cat.color"]}}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_serious_fault_of_access(browser: Any, site: Path, scheme: str) -> None:
    from axe_playwright_python.sync_playwright import Axe

    model = next((site / "models").glob("*.html")).relative_to(site).as_posix()
    context = browser.new_context(viewport={"width": 1280, "height": 900}, color_scheme=scheme)
    page = context.new_page()
    # A dark screen has the same document in other colours.
    rules = OF_COLOURS if scheme == "dark" else EVERY_RULE
    for path in (*KINDS, model):
        page.goto(address(site, path))
        result = [
            (fault["id"], [node["target"] for node in fault["nodes"]][:3])
            for fault in Axe().run(page, options=rules).response["violations"]
            if fault["impact"] in ("serious", "critical")
        ]
        assert result == [], path
    context.close()


def shown(page: Any) -> list[str]:
    return page.locator("#units tbody tr:visible").evaluate_all(  # type: ignore[no-any-return]
        "(rows) => rows.map((row) => row.dataset.key)"
    )


def test_units_are_searched_filtered_and_sorted(page: Any, site: Path) -> None:
    page.goto(address(site, "index.html"))
    everyone = shown(page)
    assert {PLAIN, HOSTILE, "push-pull"} <= set(everyone)
    page.fill("#words", "ostrel 20")
    assert shown(page) == [PLAIN]
    assert page.inner_text("#count") == f"1 of {len(everyone)} units"
    page.fill("#words", "")
    page.select_option("#technology", "tube")
    assert PLAIN in shown(page)
    assert HOSTILE not in shown(page)
    page.select_option("#technology", "")
    page.get_by_role("button", name="Residual noise, A-weighted").click()
    rows = page.locator("#units tbody tr td:nth-child(7)")
    values = [v for v in rows.evaluate_all("(cells) => cells.map((c) => c.dataset.v)") if v]
    assert values == sorted(values, key=float)
    heading = page.locator("th[aria-sort]")
    assert heading.get_attribute("aria-sort") == "ascending"
    heading.get_by_role("button").click()
    assert heading.get_attribute("aria-sort") == "descending"


def test_two_units_are_picked_and_set_side_by_side(page: Any, site: Path) -> None:
    page.goto(address(site, "index.html"))
    page.check(f"tr[data-key={PLAIN}] input")
    assert page.get_attribute("#together", "aria-disabled") == "true"
    page.check(f"tr[data-key={HOSTILE}] input")
    page.click("#together")
    assert page.locator("#picked .chip").count() == 2
    text = page.inner_text("#side")
    assert "Residual noise" in text
    assert "not significantly different" in text
    headings = page.locator("#overlays h2").all_inner_texts()
    assert any(
        heading.startswith("THD against power: B differs most from A") for heading in headings
    )
    assert page.locator("#overlays .curve").count() > 4
    assert MAKER in page.inner_text("#picked")
    page.select_option("#add", "push-pull")
    assert page.locator("#picked .chip").count() == 3
    page.get_by_role("button", name="Remove").first.click()
    assert page.locator("#picked .chip").count() == 2
    page.goto(address(site, "compare.html#no-such-unit,<b>"))
    assert "Add two or more units" in page.inner_text("#side")


def test_everything_can_be_done_from_the_keyboard(page: Any, site: Path) -> None:
    page.goto(address(site, "index.html"))
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "content"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "scroll shelf"
    stops = page.locator(".shelf a, .shelf .drawn:visible, .shelf button:visible").count()
    assert stops > 3
    for _ in range(stops + 1):  # the buttons that can't be used yet are passed over
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "words":
            break
    assert page.evaluate("document.activeElement.id") == "words"
    page.keyboard.type("pentode")
    assert shown(page) == ["push-pull"]
    page.locator("tr[data-key=push-pull] input").focus()
    page.keyboard.press("Space")
    page.locator("#words").fill("")
    page.locator(f"tr[data-key={PLAIN}] input").focus()
    page.keyboard.press("Space")
    page.locator("#together").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("#picked .chip")
    assert page.locator("#picked .chip").count() == 2


def test_hostile_text_stays_text(page: Any, site: Path) -> None:
    for path in (
        "index.html", "makers.html", "reviews.html", f"units/{HOSTILE}.html",
        "sheets/2020-01-hostile.html", "compare.html#hostile-unit,halyard-20",
        "questions/idle-noise-of-technology.html",
    ):  # fmt: skip
        page.goto(address(site, path))
        assert page.evaluate("window.broken") is None, path
        assert page.evaluate("document.querySelectorAll('img[src=x]').length") == 0, path
        assert MODEL in page.evaluate("document.body.textContent"), path
    page.goto(address(site, "sheets/2020-01-hostile.html"))
    text = page.evaluate("document.body.textContent")
    assert "{{ 7*7 }}" in text
    assert '<b>tone & "5w" שלום 🎛.flac' in text
    photograph = page.get_by_alt_text(MODEL, exact=True)
    assert photograph.evaluate("(image) => [image.naturalWidth, image.naturalHeight]") == [
        1200,
        700,
    ]


def test_paper_has_no_controls(page: Any, site: Path) -> None:
    page.emulate_media(media="print")
    page.goto(address(site, "index.html"))
    assert not page.locator("nav").is_visible()
    assert not page.locator("#finder").is_visible()
    assert page.locator("#units").is_visible()


def test_a_long_overview_is_turned_searched_and_sorted(
    page: Any, site: Path, tmp_path: Path
) -> None:
    """The published overview with further units as the page of a large catalogue holds them."""
    text = (site / "index.html").read_text(encoding="utf-8")
    more = [
        [f"further-{n:03d}", f"Further <b>{n:03d}</b>", "tube", "preamplifier", 1900 + n, "early",
         "restored", [["", "—"], [str(n), f"{n} %"], ["", "—"], ["", "—"]]]
        for n in range(40)
    ]  # fmt: skip
    template = '<template data-technology="tube"><span class="tech tube">tube</span></template>'
    message = json_text(more)
    data = f'{template}<script type="application/json" id="more">{message}</script></main>'
    text = text.replace('data-page="100"', 'data-page="20"').replace("</main>", data)
    (tmp_path / "index.html").write_text(text, encoding="utf-8")
    (tmp_path / "charts").symlink_to(site / "charts")
    page.goto((tmp_path / "index.html").as_uri())
    first = shown(page)
    assert len(first) == 20
    assert page.get_by_role("button", name="Earlier").is_disabled()
    page.get_by_role("button", name="Later").click()
    assert not set(first) & set(shown(page))
    page.fill("#words", "further 03")
    assert shown(page) == [f"further-{n:03d}" for n in (3, *range(30, 40))]
    assert not page.locator("#pager").is_visible()
    assert page.locator("#units tbody b").count() == 0
    page.fill("#words", "further")
    page.get_by_role("button", name="Distortion at 1 kHz").click()
    page.get_by_role("button", name="Distortion at 1 kHz").click()
    assert shown(page)[:2] == ["further-039", "further-038"]
    page.get_by_role("button", name="Later").click()
    page.check("tr[data-key=further-007] input")
    page.fill("#words", "further-000")
    page.check("tr[data-key=further-000] input")
    assert page.get_attribute("#together", "href").endswith("#further-007,further-000")
