"""All pictures of a site on one page, at one size and theme, with what is wrong with each."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from xml.etree.ElementTree import ParseError

from backbench.charts.dark_theme import in_theme
from backbench.charts.picture_faults import picture_faults
from backbench.charts.picture_labels import labelled
from backbench.errors import Fault, UserError
from backbench.publish.output_files import write
from backbench.publish.render import data_address, page


@dataclass(frozen=True)
class ShownPicture:
    """A picture at the width that it is shown at; faults: what is hard to see, in words."""

    name: str
    heading: str
    svg: str
    width: int
    height: int
    faults: tuple[str, ...]


def contact_sheet(site: Path, path: Path, width: int, *, dark: bool) -> tuple[ShownPicture, ...]:
    """Write the page with every picture of the site in folder `site`; gives what it shows.

    width: pixels that a picture is shown at; one that was drawn narrower keeps its own.
    Raises UserError where the folder has no pictures.
    """
    files = sorted((site / "charts").glob("*.svg"))
    if not files:
        fault = Fault(str(site), "no picture", "a published site", "run `backbench publish` first")
        raise UserError("there is nothing to show", [fault])
    shown = tuple(_read(file, width, dark=dark) for file in files)
    ordered = sorted(shown, key=lambda one: (not one.faults, one.heading))
    content = page(
        "contact_sheet.html", pictures=[_values(one, dark) for one in ordered], width=width,
        dark=dark, faulty=sum(bool(one.faults) for one in shown), site="", here="",
    )  # fmt: skip
    write(path.parent, path.name, content)
    return shown


def _read(file: Path, width: int, *, dark: bool) -> ShownPicture:
    try:
        return shown_picture(file.stem, file.read_text(encoding="utf-8"), width, dark=dark)
    except (ParseError, KeyError, ValueError):
        fault = Fault(str(file), "no picture of a chart", "one that `backbench publish` made")
        raise UserError("a picture can't be shown", [fault]) from None


def shown_picture(name: str, svg: str, width: int, *, dark: bool = False) -> ShownPicture:
    """A picture as it looks at a width and in a theme, with what is hard to see in it there."""
    drawn = labelled(svg)
    scale = min(1.0, width / drawn.width)
    found = dict.fromkeys(picture_faults(svg, scale, dark=dark))
    faults = tuple(fault.text for fault in found)
    return ShownPicture(
        name, drawn.heading, svg, round(drawn.width * scale), round(drawn.height * scale), faults
    )


def _values(picture: ShownPicture, dark: bool) -> dict[str, object]:
    return {
        "name": picture.name, "heading": picture.heading, "width": picture.width,
        "height": picture.height, "faults": picture.faults,
        "src": data_address(in_theme(picture.svg, dark=dark).encode()),
    }  # fmt: skip
