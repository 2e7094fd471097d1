"""Eight processes that ingest, chart and query one catalogue at once.

Run: python tests/faults/many_at_once.py [SECONDS]. Prints two lines; ends with 1 where a process
ended in anything but words or had no turn, or where what was acknowledged is not there in the end.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("POLARS_MAX_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1]))

from backbench.catalogue import Catalogue
from backbench.errors import UserError
from backbench.maintenance.verify import verify
from faults.forks import import_what_forks_use, in_fork
from faults.small_catalogue import small_catalogue, write_review
from simulated import contents_of

LONG_S = 30
"""From so long on, every process must have had a turn, however slow the machine."""
ROLES = ("ingest", "ingest", "ingest", "chart", "chart", "query", "query", "query")


def work(role: str, number: int, folder: Path, until: float) -> dict[str, object]:
    """One process: the same over and over; what it did and what it was told."""
    counts: Counter[str] = Counter()
    acknowledged: dict[str, str] = {}
    wrong: list[str] = []
    version = 0
    while time.time() < until:
        version += 1
        try:
            catalogue = Catalogue(folder / "catalogue")
            if role == "ingest":
                review = folder / f"review-{number}"
                write_review(review, version)
                (outcome,), _ = catalogue.ingest([review], history=False, processes=1)
                assert not outcome.failed, outcome
                acknowledged[outcome.review] = f"version {version}"
            elif role == "chart":
                catalogue.chart(
                    "missing-measurements" if version % 2 else "quietest-of-a-kind"
                ).to_dict()
            else:
                assert catalogue.readings().height > 0
                catalogue.query("missing-measurements")
            counts["done"] += 1
        except UserError as error:
            counts[f"told: {error.what}"] += 1
            if error.what not in {"the catalogue is in use", "the query can't be drawn"}:
                wrong.append(f"{role}: {error}")
        except Exception:
            wrong.append(f"{role}: {traceback.format_exc()}")
    return {"role": role, "counts": counts, "acknowledged": acknowledged, "wrong": wrong}


def main() -> int:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    import_what_forks_use()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        catalogue = small_catalogue(folder / "catalogue")
        write_review(folder / "first", 0)
        # In a fork: this process is to have run no threads when it forks again.
        status, told = in_fork(
            lambda _: catalogue.ingest([folder / "first"], history=False, processes=1) and None
        )
        assert status == 0, told
        until = time.time() + seconds
        running = [begun(role, n, folder, until) for n, role in enumerate(ROLES)]
        return summary([report_of(*one) for one in running], catalogue, seconds)


def begun(role: str, number: int, folder: Path, until: float) -> tuple[int, int]:
    """A process of its own, and where it writes its report; it has everything imported."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.write(writing, json.dumps(work(role, number, folder, until)).encode()[:60_000])
        os._exit(0)
    os.close(writing)
    return child, reading


def report_of(child: int, reading: int) -> dict[str, Any]:
    with os.fdopen(reading) as stream:
        text = stream.read()
    os.waitpid(child, 0)
    report: dict[str, Any] = json.loads(text)
    return report


def summary(reports: list[dict[str, Any]], catalogue: Catalogue, seconds: float) -> int:
    """The figures in a line; 1 where anything is wrong."""
    counts: Counter[str] = Counter()
    wrong = [line for report in reports for line in report["wrong"]]
    held = dict(catalogue.reviews().select("review_key", "notes").rows())
    acknowledged = {k: v for report in reports for k, v in report["acknowledged"].items()}
    lost = [key for key, version in acknowledged.items() if held.get(key) != version]
    for report in reports:
        for what, number in report["counts"].items():
            counts[f"{report['role']} {what}"] += number
    rounds = [report["counts"].get("done", 0) for report in reports]
    if seconds >= LONG_S:
        wrong += [f"process {n} had no turn" for n, done in enumerate(rounds) if not done]
    wrong += [str(fault) for fault in verify(catalogue.places, lambda _: None).faults]
    catalogue.recompute(history=False, processes=1)
    before = contents_of(catalogue.places.root)
    catalogue.rebuild(processes=1)
    wrong += [] if contents_of(catalogue.places.root) == before else ["a rebuild differs"]
    for line in [*wrong, *lost]:
        print(line)
    end = f"{len(acknowledged)} reviews acknowledged, {len(lost)} lost, {len(wrong)} wrong"
    print("rounds:", ", ".join(f"{r['role']} {n}" for r, n in zip(reports, rounds, strict=True)))
    print(f"{len(reports)} processes for {seconds:g} s: {dict(sorted(counts.items()))}; {end}")
    return 1 if wrong or lost else 0


if __name__ == "__main__":
    sys.exit(main())
