"""Print what check, ingest, show, sheet and site tell of each spoiled session, as Markdown.

Usage: python tests/bench/spoiled_sessions.py [--pages] [NAME …]; spoiled_sessions.md holds the
output. Without --pages no sheet and no site is made.
"""

from __future__ import annotations

import html
import os
import re
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
os.environ["COLUMNS"] = "400"

from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.errors import UserError
from backbench.ingest import analyse
from backbench.ingest.analyse import Analysed
from backbench.ingest.analysis_plan import Job
from spoiled_sessions import REVIEW, SOURCE, SPOILED, sound_session

KNOWN: dict[str, Analysed] = {}
"""Captures that were measured whole: what no spoiling changed is measured once."""
measure = analyse.analyse


def remembered(job: Job) -> Analysed:
    result = KNOWN.get(job.analysis_key) or measure(job)
    if result.reason is None:
        KNOWN[job.analysis_key] = result
    return result


def run(*words: str | Path) -> tuple[int, str]:
    """Exit code, and the output in one line; a user's error as the command line prints it."""
    ran = CliRunner().invoke(app, [str(word) for word in words])
    if isinstance(ran.exception, UserError):
        return 1, " ".join(f"{ran.output} {ran.exception}".split())
    if ran.exception and not isinstance(ran.exception, SystemExit):
        raise ran.exception
    return ran.exit_code, " ".join(ran.output.split())


def page_text(path: Path) -> str:
    """What a page says, without its marks."""
    text = re.sub(r"<(script|style|svg).*?</\1>", " ", path.read_text(), flags=re.S)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def sentence(text: str, words: str) -> str:
    """The part of an output around some words, from the line's beginning as far as it is known."""
    at = text.find(words)
    if at < 0:
        return "SAYS NOTHING"
    begin = max(
        text.rfind(mark, 0, at) + len(mark) for mark in ("fault: ", "warning: ", ") ", ". ")
    )
    return text[max(begin, at - 160) : at + len(words) + 90].strip()


def row(name: str, folder: Path, *, pages: bool) -> list[str]:
    """The cells of one session: what each tells, or that it tells nothing."""
    spoil, _, words = SPOILED[name]
    review, home = sound_session(folder / "review"), folder / "home"
    Catalogue.create(home, (SOURCE / "backbench.toml").read_text())
    spoil(review)
    code, checked = run("check", review, "-c", home)
    cells = [name, f"{code}: {sentence(checked, words)}"]
    code, taken = run("ingest", review, "-c", home, "--direct", "--processes", "1")
    cells.append(f"{code}: {'the same' if words in taken else 'SAYS NOTHING'}")
    if code == 1:
        return [*cells, "not taken in", "not taken in", "not taken in"]
    shown = run("show", REVIEW, "-c", home)[1]
    cells.append("the same" if words in shown else "says nothing")
    if not pages:
        return [*cells, "-", "-"]
    run("sheet", REVIEW, folder / "sheet.html", "-c", home)
    cells.append("the same" if words in page_text(folder / "sheet.html") else "says nothing")
    run("publish", "-c", home, "--out", folder / "site", "--processes", "1")
    made = [page_text(path) for path in (folder / "site").rglob("*.html")]
    cells.append("the same" if any(words in page for page in made) else "says nothing")
    return cells


def main(names: list[str]) -> None:
    analyse.analyse = remembered
    print("| spoiled | `check`: exit code, what it says | `ingest` | `show` | sheet | site |")
    print("| --- | --- | --- | --- | --- | --- |")
    given = [name for name in names if name != "--pages"]
    for name in given or SPOILED:
        with tempfile.TemporaryDirectory() as folder:
            cells = row(name, Path(folder), pages="--pages" in names)
        print("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
