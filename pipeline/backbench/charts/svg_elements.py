"""Elements of a picture that this program writes itself."""

from __future__ import annotations

from typing import Any
from xml.sax.saxutils import escape

Attributes = dict[str, Any]


def px(value: float) -> str:
    """A length in pixels, to a thousandth."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def element(name: str, attributes: Attributes, text: str = "") -> str:
    """An SVG element without those attributes that are None."""
    stated = "".join(
        f' {key}="{value if isinstance(value, str) else px(value)}"'
        for key, value in attributes.items() if value is not None
    )  # fmt: skip
    return f"<{name}{stated}>{text}</{name}>" if text else f"<{name}{stated} />"


def text_element(
    text: str, place: tuple[float, float], high: float, colour: str, anchor: str
) -> str:
    """A text of a size in pixels, its baseline at a place."""
    return element("text", {
        "text-anchor": anchor, "transform": f"translate({px(place[0])},{px(place[1])})",
        "font-size": f"{px(high)}px", "fill": colour,
    }, escape(text))  # fmt: skip
