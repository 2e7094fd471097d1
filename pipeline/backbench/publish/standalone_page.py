"""One review sheet as a file of its own: a page without the site, or a PDF printed from it."""

from __future__ import annotations

from pathlib import Path

from backbench.errors import Fault, UserError
from backbench.publish.browser import find_browser, printed
from backbench.publish.output_files import write
from backbench.publish.render import MARGINS, data_address, page
from backbench.publish.sheet_charts import picture_values
from backbench.publish.sheet_content import review_sheet, title_of
from backbench.publish.site_builder import READING, SiteBuilder, photograph_values, sheet_values

PAPERS = tuple(MARGINS)


def sheet_page(builder: SiteBuilder, review_key: str, paper: str = "") -> bytes:
    """The sheet with its pictures inside the page. Raises UserError for an unknown review.

    paper: one of PAPERS for a page to be printed: what is folded on a screen is left out.
    """
    sheet = review_sheet(
        builder.renderer, builder.site_data, review_key, builder.compared, builder.stale,
        dates=builder.dates.in_doubt(review_key),
    )  # fmt: skip
    pictures = [
        [picture_values(p, lambda drawn: data_address(drawn.svg.encode())) for p in part.pictures]
        for part in sheet.parts
    ]
    return page(
        "sheet.html", scripts=() if paper else READING, paper=paper,
        site=builder.settings.title, here="",
        points=builder.site_data.points, title=title_of(sheet), alone=True,
        sheet=sheet_values(sheet, pictures), charts_limited=False,
        photographs=[photograph_values(photo) for photo in builder.album.of(review_key)],
    )  # fmt: skip


def save_sheet(
    builder: SiteBuilder, review_key: str, path: Path, paper: str = PAPERS[0]
) -> None:  # fmt: skip
    """Write the sheet as its suffix says, .html or .pdf; a PDF on sheets of a size of PAPERS.

    Raises UserError for another suffix, an unknown review, or a PDF without a browser.
    """
    suffix = path.suffix.lower()
    if suffix not in (".html", ".pdf"):
        fault = Fault(
            str(path), suffix or "a name without an ending", "a name ending in .html or .pdf"
        )
        raise UserError("the sheet can't be written", [fault])
    if suffix == ".pdf":
        browser = find_browser()
        write(path.parent, path.name, printed(sheet_page(builder, review_key, paper), browser))
    else:
        write(path.parent, path.name, sheet_page(builder, review_key))
