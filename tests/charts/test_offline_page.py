"""A chart's own page names what it may run, by hash, and nothing else."""

from __future__ import annotations

import base64
import hashlib
import html
import re

import altair as alt
import polars as pl

from backbench.charts.image_export import offline_page


def test_the_policy_allows_this_pages_scripts_and_style_alone() -> None:
    frame = pl.DataFrame({"x": [1.0], "name": ["</script><script>window.broken=1</script>"]})
    sides = {"left": 5, "right": 5, "top": 5, "bottom": 5}
    chart = alt.Chart(frame).mark_point().encode(x="x:Q", tooltip="name:N")
    text = offline_page(chart.properties(width=300, height=200, padding=sides))
    result = re.search(r'http-equiv="Content-Security-Policy" content="([^"]+)"', text)
    assert result
    parts = [part.split() for part in html.unescape(result[1]).split("; ")]
    policy = {name: allowed for name, *allowed in parts}
    assert policy["default-src"] == ["'none'"]
    assert set(policy) == {
        "default-src", "style-src", "script-src", "img-src", "base-uri", "form-action",
    }  # fmt: skip
    for kind in ("script", "style"):
        within = re.findall(rf"<{kind}>(.*?)</{kind}>", text, re.DOTALL)
        hashes = [
            f"'sha256-{base64.b64encode(hashlib.sha256(part.encode()).digest()).decode()}'"
            for part in within
        ]
        assert policy[f"{kind}-src"] == hashes
    assert "unsafe" not in result[1]
