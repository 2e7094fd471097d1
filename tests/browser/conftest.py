"""A headless Chromium on the pages of a small published catalogue."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from backbench.publish.site import publish
from installed_chromium import chromium
from published import published_catalogue

FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


@dataclass
class Watched:
    """What a page did that it should not: messages on its console, addresses it asked for."""

    troubles: list[str] = field(default_factory=list)


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the published pages. Not to be changed."""
    folder = tmp_path_factory.mktemp("published")
    catalogue = published_catalogue(folder)
    done = publish(catalogue.places.root, folder / "site", processes=1)
    assert done.troubles == ()
    return folder / "site"


@pytest.fixture(scope="session")
def browser() -> Iterator[object]:
    path = chromium()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=path, args=FLAGS)
        yield opened
        opened.close()


def watched(context: object) -> tuple[object, Watched]:
    """A new page of a context, with what it does wrong."""
    page = context.new_page()  # type: ignore[attr-defined]
    result = Watched()

    def requested(request: object) -> None:
        address = request.url  # type: ignore[attr-defined]
        if not address.startswith(("file:", "data:", "blob:")):
            result.troubles.append(f"asked for {address}")

    def printed(message: object) -> None:
        if message.type in ("error", "warning"):  # type: ignore[attr-defined]
            result.troubles.append(f"said {message.text}")  # type: ignore[attr-defined]

    page.on("request", requested)
    page.on("console", printed)
    page.on("pageerror", lambda error: result.troubles.append(f"raised {error}"))
    page.on("dialog", lambda dialog: result.troubles.append(f"asked {dialog.message}"))
    return page, result


@pytest.fixture
def page_in(browser: object) -> Iterator[Callable[[str], object]]:
    """Opens pages at 1280 by 900 on a light or dark screen; their troubles fail the test."""
    kept = []

    def opened(scheme: str) -> object:
        size = {"width": 1280, "height": 900}
        context = browser.new_context(viewport=size, color_scheme=scheme)  # type: ignore[attr-defined]
        kept.append((context, *watched(context)))
        return kept[-1][1]

    yield opened
    for context, _, _ in kept:
        context.close()
    assert [result.troubles for _, _, result in kept] == [[] for _ in kept]


@pytest.fixture
def page(page_in: Callable[[str], object]) -> object:
    """A page on a light screen."""
    return page_in("light")
