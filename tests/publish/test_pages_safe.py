"""Pages escape what they are given and allow no other script than their own."""

from __future__ import annotations

import base64
import hashlib
import json
import re

from backbench.publish.inline_pictures import page_rules
from backbench.publish.render import asset, data_address, environment, json_text, page, policy

HOSTILE = "</script><script>alert('\"&')</script>\u2028"


def test_json_inside_a_script_element_ends_nothing() -> None:
    text = str(json_text({"name": HOSTILE}))
    assert "<" not in text
    assert "\u2028" not in text
    assert json.loads(text) == {"name": HOSTILE}


def test_every_template_escapes() -> None:
    assert environment().autoescape is True
    result = environment().from_string("{{ text }}").render(text=HOSTILE)
    assert "<script>" not in result
    sources = [environment().loader.get_source(environment(), name)[0]  # type: ignore[union-attr]
               for name in environment().list_templates()]  # fmt: skip
    assert len(sources) > 8
    assert not any("| safe" in source or "|safe" in source for source in sources)


def test_the_policy_names_the_inlined_style_and_script_by_hash() -> None:
    content = page(
        "questions.html", scripts=("site.js",), site="a", here="questions.html",
        questions=[], left_out=[],
        points={},
    ).decode()  # fmt: skip
    for kind, text in (("style", asset("site.css") + page_rules()), ("script", asset("site.js"))):
        inlined = re.search(rf"<{kind}>(.*?)</{kind}>", content, re.DOTALL)
        assert inlined
        digest = base64.b64encode(hashlib.sha256(inlined[1].encode()).digest()).decode()
        assert inlined[1] == text
        assert f"{kind}-src &#39;sha256-{digest}&#39;" in content.replace("&#x27;", "&#39;")
    assert "default-src 'none'" in policy("", "")
    assert "script-src" not in policy("", "")
    assert "unsafe" not in policy("a", "b")


def test_pages_name_no_address_elsewhere() -> None:
    for name in environment().list_templates():
        source = environment().loader.get_source(environment(), name)[0]  # type: ignore[union-attr]
        assert "http" not in source.replace("http-equiv", "")
    assert "url(" not in asset("site.css")
    assert "http://www.w3.org/2000/svg" in asset("site.js")
    assert "innerHTML" not in asset("site.js")


def test_a_picture_within_the_page_is_whole() -> None:
    svg = "<svg>ä</svg>"
    assert base64.b64decode(data_address(svg.encode()).split(",")[1]).decode() == svg
