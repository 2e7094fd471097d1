"""Pictures of the page for comparing units as its script draws them, with its style's looks."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from xml.etree import ElementTree as ET

from backbench.errors import UserError
from backbench.publish.browser import find_browser, made_by_script

SVG = "http://www.w3.org/2000/svg"
OVERLAY = re.compile(r'<svg\b[^>]*\bclass="overlay".*?</svg>', re.DOTALL)
RULE = re.compile(r"^\.overlay(?: (\.?[\w-]+))?\{([^}]*)\}", re.MULTILINE)
COLOUR = re.compile(r"--([\w-]+):(#[0-9a-f]+)")
DATA = re.compile(r'id="data"[^>]*>(.*?)</script>', re.DOTALL)
WIDTHS, COUNTS, SAMPLES = (1280, 360), (2, 4), 4
"""Windows and how many units are compared; so many choices of units, spread over the catalogue."""
GROUPS = {"grid": "role-axis-grid", "reach": "mark-area", "beyond": "mark-symbol"}
"""What parts of the page's pictures are called in those that the program draws itself."""


def compared_pictures(site: Path, units: Sequence[str], width: int) -> list[str]:
    """Each picture of the page that has these units beside each other, in a window of a width.

    Their looks are written into them, on light ground. Raises UserError where no browser is.
    """
    page = site / "compare.html"
    address = f"{page.absolute().as_uri()}#{','.join(units)}"
    looks = looks_of(page.read_text(encoding="utf-8"))
    drawn = made_by_script(address, "svg.overlay", width, find_browser())
    return [with_looks(svg, looks) for svg in OVERLAY.findall(drawn)]


def some_compared(site: Path) -> tuple[list[str], str]:
    """Pictures of two and of four units of the page, wide and on a phone.

    None where the site has no such page or no browser is installed: the second says so.
    """
    page = site / "compare.html"
    data = DATA.search(page.read_text(encoding="utf-8")) if page.is_file() else None
    if data is None:
        return [], "The site has no page for comparing units."
    try:
        find_browser()
    except UserError:
        return [], "Without a Chromium, the pictures of the page for comparing are not counted."
    keys = [unit[0] for unit in json.loads(data[1])["units"]]
    return [
        svg
        for width in WIDTHS
        for count in COUNTS
        for first in range(0, len(keys) - count + 1, max(1, len(keys) // SAMPLES))
        for svg in compared_pictures(site, keys[first : first + count], width)
    ], ""


def looks_of(style: str) -> dict[str, dict[str, str]]:
    """The page's rules for these pictures by class or element, its colours put in."""
    colours: dict[str, str] = {}
    for name, value in COLOUR.findall(style):
        colours.setdefault(name, value)
    return {
        name: dict(
            re.sub(r"var\(--([\w-]+)\)", lambda found: colours[found[1]], part).split(":", 1)
            for part in body.split(";") if part
        )
        for name, body in RULE.findall(style)
    }  # fmt: skip


def with_looks(svg: str, looks: Mapping[str, Mapping[str, str]]) -> str:
    """The picture with its looks as attributes, texts and rings moved to where they stand."""
    text = svg if "xmlns=" in svg else svg.replace("<svg ", f'<svg xmlns="{SVG}" ', 1)
    root = ET.fromstring(text)
    drawn = ET.Element(f"{{{SVG}}}svg", {name: root.attrib[name] for name in ("width", "height")})
    for node in root:
        group = next((GROUPS[c] for c in _classes(node) if c in GROUPS), "mark-line")
        holder = ET.SubElement(drawn, f"{{{SVG}}}g", {"class": group})
        holder.append(_plain(node, looks))
    ET.register_namespace("", SVG)
    return ET.tostring(drawn, encoding="unicode")


def _classes(node: ET.Element) -> list[str]:
    return node.get("class", "").split()


def _plain(node: ET.Element, looks: Mapping[str, Mapping[str, str]]) -> ET.Element:
    """A part with its looks as attributes; a ring as a path, as symbols are."""
    tag = node.tag.removeprefix(f"{{{SVG}}}")
    style: dict[str, str] = {}
    for name in (tag, *(f".{one}" for one in _classes(node))):
        style |= looks.get(name, {})
    kept = {k: v for k, v in node.attrib.items() if k in ("d", "stroke-dasharray") and v}
    title = node.find(f"{{{SVG}}}title")
    if title is not None and title.text:
        kept["data-name"] = kept["aria-label"] = title.text
    if tag == "circle":
        tag, r = "path", node.attrib["r"]
        kept["d"] = f"M{r},0A{r},{r},0,1,1,-{r},0A{r},{r},0,1,1,{r},0"
    place = [node.get(name) for name in (("x", "y") if tag == "text" else ("cx", "cy"))]
    if all(place):
        kept["transform"] = f"translate({place[0]},{place[1]})"
    made = ET.Element(f"{{{SVG}}}{tag}", kept | style)
    made.text = node.text
    return made
