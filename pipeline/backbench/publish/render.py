"""Pages from templates: everything escaped, one style and one script of our own, both inlined.

A page's content security policy allows exactly those two, by their hashes, and pictures beside
the page; nothing else is loaded and nothing is sent.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence
from functools import cache
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup

from backbench.charts.script_library import policy_hash
from backbench.charts.theme import LOOKS
from backbench.publish import value_text
from backbench.publish.inline_pictures import page_rules
from backbench.publish.site_data import slug
from backbench.quantities import number_columns, sentences, writing
from backbench.quantities.counts import counted

NONE_SHOWN = "—"
FEW_REVIEWS = 100
"""Up to so many reviews, the list of them stands open; of more, those of the newest year do."""
FIRST_ROWS = 8
"""Of a long table, shown before the rest is unfolded."""
MARGINS = {"A4": "10mm 13mm", "letter": "6mm 17mm"}
"""Of printed sheets by their size: the lower of the two is written on further up and down."""


@cache
def environment() -> jinja2.Environment:
    """The templates with their filters; every value is escaped unless it is Markup."""
    templates = jinja2.Environment(
        loader=jinja2.PackageLoader("backbench.publish", "pages"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    templates.filters |= {
        "aligned": value_text.aligned,
        "counted": counted,
        "listed": sentences.listed,
        "quantity": lambda value, unit: writing.value_alone(value, None, unit),
        "number": writing.number,
        "price": writing.price,
        "sentence": sentences.sentence,
        "share": value_text.share,
    }
    templates.globals |= {
        "measured": writing.measured,
        "alike": number_columns.alike,
        "years": value_text.years,
        "slug": slug,
        "json_text": json_text,
        "shape_of": lambda technology: LOOKS[technology].shape if technology in LOOKS else "cross",
        "none_shown": NONE_SHOWN,
        "first_rows": FIRST_ROWS,
        "few_reviews": FEW_REVIEWS,
    }
    return templates


@cache
def asset(name: str) -> str:
    """A file of the folder assets."""
    return resources.files("backbench.publish").joinpath("assets", name).read_text("utf-8")


def page(
    template: str, *, up: str = "", scripts: Sequence[str] = (), paper: str = "", **values: Any
) -> bytes:
    """A page's bytes.

    up: the way from the page to the site's root ("../" for a page one folder deep).
    scripts: the files of the folder assets that the page needs, in their order.
    paper: the size of the sheets ("A4", "letter") of a page that is made to be printed; what is
    folded on a screen is left out there.
    """
    style = asset("site.css") + page_rules() + _sheets(paper)
    code = "".join(asset(name) for name in scripts)
    text = environment().get_template(template).render(
        up=up, style=Markup(style), script=Markup(code), policy=policy(style, code), paper=paper,
        **values,
    )  # fmt: skip
    return text.encode()


def _sheets(paper: str) -> str:
    return f"@page{{size:{paper};margin:{MARGINS[paper]}}}" if paper else ""


def policy(style: str, script: str) -> str:
    """The content security policy of a page with this style and script."""
    parts = ["default-src 'none'", f"style-src '{policy_hash(style)}'", "img-src 'self' data:"]
    if script:
        parts.append(f"script-src '{policy_hash(script)}'")
    return "; ".join([*parts, "base-uri 'none'", "form-action 'none'"])


def json_text(value: object) -> Markup:
    """JSON that may stand inside a script element: no "<" is left in it."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return Markup(text)


def data_address(content: bytes, kind: str = "image/svg+xml") -> str:
    """A picture as an address that needs no file."""
    return f"data:{kind};base64," + base64.b64encode(content).decode()
