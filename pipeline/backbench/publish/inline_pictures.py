"""Pictures within a page, where its script reads their marks and its style colours them."""

from __future__ import annotations

import re

from markupsafe import Markup, escape

from backbench.charts.dark_theme import dark_rules

NAMED = re.compile(r'(\bid="|url\(#)')


def inline(svg: str, key: str, alt: str) -> Markup:
    """A drawn picture as a part of a page.

    Its own style is left to the page's (`page_rules`), since a page's policy forbids others.
    key: tells the names within this picture from those of the others on the page.
    """
    plain = svg.replace(f"<style>{dark_rules()}</style>", "", 1)
    own = NAMED.sub(lambda found: f"{found[1]}p{key}-", plain)
    return Markup(own.replace("<svg ", f'<svg role="img" aria-label="{escape(alt)}" ', 1))


def page_rules() -> str:
    """The style rules of a page for the pictures within it, on a dark screen."""
    return dark_rules(".drawn ")
