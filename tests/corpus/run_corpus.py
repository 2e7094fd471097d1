"""Every malformed file read in a child of bounded memory and time. Prints one line of figures.

Run: python tests/corpus/run_corpus.py [MANY], MANY: entries of the manifests that have many.
Ends with 1 where a file gave anything but a right reading or a fault in one line, or took more than
TIME_S of the processor or 1 GiB.
"""

from __future__ import annotations

import json
import os
import re
import resource
import signal
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("POLARS_MAX_THREADS", "2")
sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np

from backbench.backfill.column_map import read_map
from backbench.backfill.map_questions import Question, questions
from backbench.backfill.map_text import map_text
from backbench.backfill.parse_records import parse_sheet
from backbench.backfill.proposed_map import propose
from backbench.backfill.spreadsheet import WORKBOOKS, Grid, read_grid, sheet_under
from backbench.backfill.workbooks import read_workbook
from backbench.backfill.written_manifests import manifests
from backbench.documents.manifest import read_manifest
from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.errors import UserError
from backbench.readers.file_formats import read_recording, read_table
from backbench.readers.parquet import read_parquet_here
from backbench.signal.track import Array
from corpus.malformed import corpus
from faults.forks import import_what_forks_use

TOGETHER = 100
"""Files that are read in one fork, which costs more than most of them."""
TIME_S = 30
"""Of the processor, for one file; a file that waits is ended after ten times as long."""
MEMORY = 1 << 30
TABLE = Table(
    table="response",
    columns={
        "frequency": TableColumn(name="f", unit="Hz"),
        "level": TableColumn(name="a", unit="dB"),
    },
)


def outcome(kind: str, path: Path) -> str:
    """Read one file: "read", "refused", or what is wrong with how it went."""
    try:
        if kind == "manifest":
            read_manifest(path.read_bytes(), path.name)
        elif kind == "sheet":
            import_sheet(path)
        elif kind == "table":
            columns = table_columns(path)
            if not all(np.isfinite(values).all() for values in columns.values()):
                return "a table that is not finite"
        else:
            samples = read_recording(path).samples
            if samples.ndim != 2 or not np.isfinite(samples).all():
                return "samples that are not finite"
    except UserError as error:
        long = [str(f) for f in error.faults if "\n" in str(f) or len(str(f)) > 600]
        return f"a fault of more than a line: {long[0][:200]!r}" if long else "refused"
    except BaseException:
        return traceback.format_exc()
    return "read"


def table_columns(path: Path) -> dict[str, Array]:
    """The columns of a table. Parquet is read here: this child has bounds of its own."""
    if path.suffix == ".parquet":
        return read_parquet_here(path, path.name, TABLE).columns
    return read_table(path, TABLE).columns


def import_sheet(path: Path) -> None:
    """A spreadsheet up to its manifests, by the map that is proposed from it."""
    if path.suffix in WORKBOOKS:
        sheet = read_workbook(path, None)
        grid = Grid(f"{path.name}, {sheet.name}", sheet.cells, sheet.percents, sheet.others)
    else:
        grid = read_grid(path)
    proposal = propose(path, grid, None)
    for question in questions(proposal):
        question.take(_some_answer(question))
    written = path.with_name(f"{path.name}.map")
    written.write_text(map_text(proposal), encoding="utf-8")
    how = read_map(written)
    under = sheet_under(path, grid, proposal.header_row, proposal.heading_rows)
    contents = parse_sheet(under, how)
    _, problems = manifests(under, contents, path, path)
    for problem in [*contents.problems, *problems]:
        if "\n" in str(problem) or len(str(problem)) > 1000 or not problem.suggestion:
            raise AssertionError(f"{str(problem)[:1000]!r}")


def _some_answer(question: Question) -> str:
    """The first choice, the day or the unit that a question has as an example, or any word."""
    if question.choices:
        return question.choices[0]
    day = re.search(r"\d{4}-\d\d-\d\d", question.text)
    return day[0] if day else question.text.split()[-1]


def in_child(paths: Sequence[Path]) -> list[str]:
    """The outcomes of files read one after another in a fork, up to one that it died of.

    The folder that a file is in names its kind. Time is counted for each file, memory for all.
    """
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        for path in paths:
            signal.setitimer(signal.ITIMER_PROF, TIME_S)
            signal.alarm(10 * TIME_S)
            text = outcome(path.parent.name, path)
            used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
            if used > MEMORY:
                text = f"{used / 1e6:.0f} MB of memory"
            os.write(writing, (json.dumps(text[:60_000]) + "\n").encode())
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as stream:
        texts = [str(json.loads(line)) for line in stream if line.endswith("\n")]
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        texts.append(f"ended by {signal.Signals(os.WTERMSIG(status)).name}")
    return texts


def outcomes(paths: Sequence[Path]) -> Iterator[tuple[Path, str]]:
    """Each file's outcome: of TOGETHER in one fork; one that was not right there, by itself."""
    for begin in range(0, len(paths), TOGETHER):
        some = paths[begin : begin + TOGETHER]
        while some:
            for path, text in zip(some, texts := in_child(some), strict=False):
                right = text in {"read", "refused"}
                yield path, text if right or len(some) == 1 else in_child([path])[0]
            some = some[len(texts) :]


def _made(folder: Path, many: int) -> None:
    """Write the corpus from a fork: the maker runs threads, and this process must stay forkable."""
    child = os.fork()
    if child == 0:
        for kind, name, data in corpus(many):
            (folder / kind).mkdir(exist_ok=True)
            (folder / kind / name).write_bytes(data)
        os._exit(0)
    assert os.waitpid(child, 0)[1] == 0, "the corpus could not be made"


def main() -> int:
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    import_what_forks_use()
    counts: Counter[str] = Counter()
    wrong: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        _made(Path(folder), many)
        for path, result in outcomes(sorted(Path(folder).glob("*/*"))):
            counts[result if result in {"read", "refused"} else "wrong"] += 1
            if result not in {"read", "refused"}:
                wrong.append(f"{path.parent.name} {path.name}: {result}")
                print(wrong[-1], flush=True)
    print(f"{counts.total()} files: {counts['refused']} refused in words, {counts['read']} read, "
          f"{counts['wrong']} wrong ({sum('ended by SIG' in one for one in wrong)} hangs, "
          f"{sum('MB of memory' in one for one in wrong)} over 1 GiB)")  # fmt: skip
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
