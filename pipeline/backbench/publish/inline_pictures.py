"""Pictures within a page, where its script reads their marks and its style colours them."""

from __future__ import annotations

from functools import lru_cache

from markupsafe import Markup, escape

from backbench.charts.dark_theme import dark_rules


@lru_cache(maxsize=16)  # of a unit: on its review's sheet, its own page and its model's
def inline(svg: str, key: str, alt: str) -> Markup:
    """A drawn picture as a part of a page.

    Its own style is left to the page's (`page_rules`), since a page's policy forbids others.
    key: tells the names within this picture from those of the others on the page.
    """
    plain = svg.replace(f"<style>{dark_rules()}</style>", "", 1)
    own = plain.replace(' id="', f' id="p{key}-').replace("url(#", f"url(#p{key}-")
    return Markup(own.replace("<svg ", f'<svg role="img" aria-label="{escape(alt)}" ', 1))


def page_rules() -> str:
    """The style rules of a page for the pictures within it, on a dark screen."""
    return dark_rules(".drawn ")
