"""Print what check, ingest, show, sheet and site tell of each spoiled session, as Markdown.

Usage: python tests/bench/spoiled_sessions.py [NAME …]; spoiled_sessions.md holds the output.
Of the site the lists and the pages of the review are made; no page has its charts, which say
nothing of refused captures.
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
from backbench.publish import page_jobs, site
from backbench.publish.sheet_charts import ChartRenderer
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
    """Exit code and output; a user's error as the command line prints it."""
    ran = CliRunner().invoke(app, [str(word) for word in words])
    if isinstance(ran.exception, UserError):
        return 1, f"{ran.output}\n{ran.exception}"
    if ran.exception and not isinstance(ran.exception, SystemExit):
        raise ran.exception
    return ran.exit_code, ran.output


def page_text(path: Path) -> str:
    """What a page says, without its marks."""
    text = re.sub(r"<(script|style|svg).*?</\1>", " ", path.read_text(), flags=re.S)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def sentence(text: str, words: str) -> str:
    """The line of an output that holds some words, without what stands before every fault."""
    lines = [line.strip() for line in text.splitlines() if words in line]
    return lines[0].removeprefix("fault: ").removeprefix("warning: ") if lines else "SAYS NOTHING"


def pages_of_the_review(where: page_jobs.Places, processes: int) -> list[page_jobs.Job]:
    """The pages of the site that a spoiled review may change."""
    return [("reviews", (REVIEW,)), ("index", ("",))]


def row(name: str, folder: Path) -> list[str]:
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
    run("sheet", REVIEW, folder / "sheet.html", "-c", home)
    cells.append("the same" if words in page_text(folder / "sheet.html") else "says nothing")
    run("publish", "-c", home, "--out", folder / "site", "--processes", "1")
    made = [page_text(path) for path in (folder / "site").rglob("*.html")]
    cells.append("the same" if any(words in page for page in made) else "says nothing")
    return cells


def main(names: list[str]) -> None:
    analyse.analyse = remembered
    ChartRenderer.draw = lambda *of, **what: None
    site._jobs = pages_of_the_review
    print("| spoiled | `check`: exit code, what it says | `ingest` | `show` | sheet | site |")
    print("| --- | --- | --- | --- | --- | --- |")
    for name in names or SPOILED:
        with tempfile.TemporaryDirectory() as folder:
            cells = row(name, Path(folder))
        print("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
