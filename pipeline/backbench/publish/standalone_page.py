"""One review sheet as a file of its own: a page without the site, or a PDF printed from it."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

from backbench.errors import Fault, UserError
from backbench.publish.output_files import write
from backbench.publish.render import MARGINS, data_address, page
from backbench.publish.sheet_charts import picture_values
from backbench.publish.sheet_content import review_sheet, title_of
from backbench.publish.site_builder import READING, SiteBuilder, photograph_values, sheet_values
from backbench.readers.limited_process import die_with_parent
from backbench.storage.scratch import scratch_folder

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-extensions", "--no-pdf-header-footer", "--disable-domain-reliability",
    "--disable-client-side-phishing-detection", "--no-pings", "--no-proxy-server",
    "--disable-features=OptimizationHints,MediaRouter,Translate,AutofillServerCommunication",
    "--host-resolver-rules=MAP * ~NOTFOUND",
)  # fmt: skip
PATIENCE_S = 120


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


def find_browser() -> str:
    """The path of a Chromium. Raises UserError where there is none."""
    for name in BROWSERS:
        path = shutil.which(name)
        if path:
            return path
    fault = Fault(
        "PDF", f"none of {', '.join(BROWSERS)}", "a Chromium to print the page with",
        "install it, or write the .html and print that with any browser",
    )  # fmt: skip
    raise UserError("the sheet can't be printed", [fault])


def printed(content: bytes, browser: str) -> bytes:
    """The page as a PDF, printed by a headless browser with a profile that is thrown away."""
    with scratch_folder() as folder:
        source, target = folder / "sheet.html", folder / "sheet.pdf"
        source.write_bytes(content)
        _run([
            browser, *FLAGS, f"--user-data-dir={folder}/profile", f"--print-to-pdf={target}",
            source.as_uri(),
        ])  # fmt: skip
        if not target.is_file():
            fault = Fault(browser, "no PDF", "a PDF of the page")
            raise UserError("the sheet can't be printed", [fault])
        return target.read_bytes()


def _run(command: Sequence[str]) -> None:
    try:
        subprocess.run(
            command, check=True, capture_output=True, timeout=PATIENCE_S,
            preexec_fn=die_with_parent,
        )  # fmt: skip
    except (OSError, subprocess.SubprocessError) as error:
        fault = Fault(command[0], str(error).splitlines()[0][:200], "a browser that prints")
        raise UserError("the sheet can't be printed", [fault]) from None
