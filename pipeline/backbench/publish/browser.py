"""A headless browser, for what only one can do: printing a page, running a page's script."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Sequence

from backbench.errors import Fault, UserError
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
FRAME = """<!DOCTYPE html><title>pictures</title>
<iframe width="{width}" height="900" frameborder="0" src="{address}"></iframe>
<script>addEventListener("load", () => {{
const shown = document.querySelector("iframe").contentDocument;
document.body.append(...shown.querySelectorAll("{wanted}")); }});</script>
"""


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
        run_browser([
            browser, *FLAGS, f"--user-data-dir={folder}/profile", f"--print-to-pdf={target}",
            source.as_uri(),
        ])  # fmt: skip
        if not target.is_file():
            fault = Fault(browser, "no PDF", "a PDF of the page")
            raise UserError("the sheet can't be printed", [fault])
        return target.read_bytes()


def made_by_script(address: str, wanted: str, width: int, browser: str) -> str:
    """The parts of a local page that its script made, in a window of a width, as text.

    wanted: which, as a selector. The page stands in a frame: a browser's own window is never
    as narrow as a phone's.
    """
    with scratch_folder() as folder:
        content = FRAME.format(width=width, address=address, wanted=wanted)
        (folder / "frame.html").write_text(content, encoding="utf-8")
        return run_browser([
            browser, *FLAGS, f"--user-data-dir={folder}/profile", "--window-size=1600,1000",
            "--allow-file-access-from-files", "--dump-dom", (folder / "frame.html").as_uri(),
        ])  # fmt: skip


def run_browser(command: Sequence[str]) -> str:
    """What the command writes. It ends with this program. Raises UserError where it fails."""
    try:
        return subprocess.run(
            command, check=True, capture_output=True, timeout=PATIENCE_S,
            preexec_fn=die_with_parent,
        ).stdout.decode("utf-8", "replace")  # fmt: skip
    except (OSError, subprocess.SubprocessError) as error:
        fault = Fault(command[0], str(error).splitlines()[0][:200], "a browser that shows pages")
        raise UserError("the browser failed", [fault]) from None
