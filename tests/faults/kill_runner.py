"""Commands broken off by SIGKILL at seeded points, and what must hold after each.

Each command runs in a fork of this process, which has everything imported and has used no
library with threads, so that a run costs no start. Three kills in four are at a fault point
(storage/fault_injection.py), half of these at any, half at one of a name, so that the few renames
and commits are met as often as the many writes. One kill in four is after a random time, so that
instants inside the database's and the system's own writes are met too.
"""

from __future__ import annotations

import os
import random
import shutil
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import altair  # noqa: F401  imported before the fork, as are the next two
import polars as pl  # noqa: F401
import vl_convert  # noqa: F401

from backbench.catalogue import Catalogue
from backbench.comparison import unit_comparison  # noqa: F401
from backbench.documents.file_names import SETTINGS_NAME
from backbench.ingest import run_ingest
from backbench.maintenance import backup
from backbench.maintenance.verify import verify
from backbench.publish import site as site_maker
from backbench.publish.render import environment
from backbench.publish.site import publish
from backbench.storage import database
from faults.forks import Told, import_what_forks_use, in_fork
from faults.site_checks import site_faults, tree
from faults.small_catalogue import set_calibration, small_catalogue, write_review
from few_questions import few_available
from fixtures.make_schema import unpacked
from simulated import contents_of

REVIEWS = ("auk", "brant", "crake")
COMMANDS = (
    "ingest", "ingest", "ingest", "recompute", "rebuild", "backup", "restore", "migrate", "publish",
)  # fmt: skip
HALF_WRITTEN = (
    "catalogue.duckdb.tmp",
    ".making-*", ".rebuild-*", "**/.incoming-*", ".staged/*", "published/.site.[!l]*",
)  # fmt: skip


@dataclass
class Figures:
    """What the runs added up to."""

    kills: Counter[str] = field(default_factory=Counter)
    points: Counter[str] = field(default_factory=Counter)
    runs: int = 0
    acknowledged: int = 0
    checks: int = 0
    rebuilds: int = 0
    lost: list[str] = field(default_factory=list)
    half_done: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        kinds = ", ".join(f"{name} {count}" for name, count in sorted(self.kills.items()))
        return (
            f"{self.kills.total()} kills ({kinds}) in {self.runs} runs; "
            f"{self.acknowledged} reviews acknowledged, {len(self.lost)} lost, "
            f"{len(self.half_done)} half done; {self.checks} checks, "
            f"{self.rebuilds} rebuilds compared"
        )


class Runner:
    """One catalogue that is changed, killed, checked and changed again."""

    def __init__(self, folder: Path, seed: int) -> None:
        import_what_forks_use()
        site_maker.available = few_available
        for template in environment().list_templates():
            environment().get_template(template)
        self.folder, self.random = folder, random.Random(seed)
        self.catalogue = small_catalogue(folder / "catalogue")
        self.reviews = {name: folder / "reviews" / name for name in REVIEWS}
        self.version = dict.fromkeys(REVIEWS, 0)
        for path in self.reviews.values():
            write_review(path, 0)
        self.acknowledged: dict[str, set[str]] = {}
        self.points: dict[str, Counter[str]] = {}
        self.seconds: dict[str, float] = {}
        self.figures = Figures()
        self.calibrated = False
        self.site = ""

    def run(self, kills: int, report: Callable[[str], None] = lambda _: None) -> Figures:
        """Kill so many times: each command once at a point, then any by chance; every thirtieth
        time, and at the end, carry on without and compare a rebuild."""
        self.begin()
        for command in dict.fromkeys(COMMANDS):
            self.broken_off(command, by_time=False)
        while (before := self.figures.kills.total()) < kills:
            self.broken_off(self.random.choice(COMMANDS), by_time=self.random.random() < 0.25)
            now = self.figures.kills.total()
            if before != now and (now % 30 == 0 or now == kills):
                self.whole()
                report(str(self.figures))
        return self.figures

    def broken_off(self, command: str, *, by_time: bool) -> None:
        """One run that is to be killed, and the checks after it."""
        work = getattr(self, f"_{command}")()
        fault = "" if by_time else self._point(command)
        after = self.random.uniform(0.005, self.seconds.get(command, 0.5)) if by_time else None
        began = time.monotonic()
        status, messages = in_fork(work, fault, after)
        self.figures.runs += 1
        if os.WIFSIGNALED(status):
            self.figures.kills[command] += 1
            self.figures.points["by time" if by_time else "at a point"] += 1
        else:
            self.seconds[command] = time.monotonic() - began
        self._take(command, messages)
        self._check(command, f"killed by {fault or after}")

    def _point(self, command: str) -> str:
        """A point of those that the longest run of the command passed."""
        passed = self.points.get(command, Counter({"*": 60}))
        name = self.random.choice(sorted(passed))
        if self.random.random() < 0.5:
            return f"*:{self.random.randint(1, passed.total())}:kill"
        return f"{name}:{self.random.randint(1, passed[name])}:kill"

    def _take(self, command: str, messages: list[Any]) -> None:
        for item in messages:
            if "error" in item:
                self.figures.half_done.append(f"{command}: {item['error']}")
            passed = Counter(item.get("names", {}))
            if passed.total() > self.points.get(command, Counter()).total():
                self.points[command] = passed
            self.site = item.get("site", self.site)
            if "review" in item:
                self.figures.acknowledged += 1
                self.acknowledged[item["review"]] = {item["manifest"]}

    # The commands -------------------------------------------------------------------------

    def _ingest(self) -> Callable[[Told], None]:
        chosen = self.random.sample(REVIEWS, self.random.randint(1, 2))
        for name in chosen:
            self.version[name] += 1
            write_review(self.reviews[name], self.version[name])
        return lambda tell: self._taken_in([self.reviews[name] for name in chosen], tell)

    def _taken_in(self, folders: list[Path] | None, tell: Told) -> None:
        """Ingest, or recompute; reviews are acknowledged as they are finished."""
        finish = run_ingest.finish

        def finished(places: Any, group: Any) -> Any:
            outcomes = finish(places, group)
            for outcome, (work, _) in zip(outcomes, group, strict=True):
                assert isinstance(outcome, run_ingest.Outcome), outcome
                assert not outcome.failed, outcome
                tell({"review": outcome.review, "manifest": work.planned.receipt.manifest})
            return outcomes

        run_ingest.finish = finished
        if folders is None:
            _, refused = self.catalogue.recompute(history=False, processes=1)
        else:
            _, refused = self.catalogue.ingest(folders, history=False, processes=1)
        assert not refused, str(refused[0].error)

    def _recompute(self) -> Callable[[Told], None]:
        self.calibrated = not self.calibrated
        set_calibration(self.catalogue, 12.0 if self.calibrated else 10.0)
        return lambda tell: self._taken_in(None, tell)

    def _rebuild(self) -> Callable[[Told], None]:
        return lambda _: self._rebuilt()

    def _rebuilt(self) -> None:
        _, refused = self.catalogue.rebuild(processes=1)
        assert not refused, str(refused[0].error)

    def _backup(self) -> Callable[[Told], None]:
        def work(_: Told) -> None:
            copied = backup.backup(self.catalogue.places, self.folder / "backup", lambda _: None)
            assert not copied.faults, copied

        return work

    def _restore(self) -> Callable[[Told], None]:
        """Into a new folder, or into what an earlier run made or began."""
        folder = self.folder / "restored"
        if self.random.random() < 0.5:
            shutil.rmtree(folder, ignore_errors=True)

        def work(_: Told) -> None:
            source = Catalogue(self.folder / "backup").places
            copied = backup.restore(source, folder, lambda _: None)
            assert not copied.faults, copied

        return work

    def _migrate(self) -> Callable[[Told], None]:
        """The catalogue kept of the first schema step, brought up to date."""
        folder = self.folder / "older"
        shutil.rmtree(folder, ignore_errors=True)
        root = unpacked("schema_0001", folder)

        def work(_: Told) -> None:
            run_ingest.prepare(Catalogue(root).places)

        return work

    def _publish(self) -> Callable[[Told], None]:
        """Every page anew, or those of the reviews that changed."""
        root = self.catalogue.places.root
        if self.random.random() < 0.7:
            settings = root / SETTINGS_NAME
            title = f'title = "Bench {self.random.randint(0, 10**6)}"'
            settings.write_text("\n".join([title, *settings.read_text().splitlines()[1:]]) + "\n")

        def work(tell: Told) -> None:
            done = publish(root, root / "published" / "site")
            assert not done.troubles, done
            tell({"site": tree(done.folder)})

        return work

    # The checks ---------------------------------------------------------------------------

    def _check(self, command: str, after: str = "done") -> None:
        """It opens, what was acknowledged is there, and nothing in it is half done."""
        self.figures.checks += 1
        status, messages = in_fork(lambda tell: tell(self._found(command)))
        if status != 0 or not messages or "rows" not in messages[0]:
            self.figures.half_done.append(f"{command} {after}: check failed: {status} {messages}")
            return
        result = messages[0]
        self.site = result["site"]
        self.figures.half_done += [f"{command} {after}: {fault}" for fault in result["faults"]]
        for review, manifests in self.acknowledged.items():
            if result["rows"].get(review) not in manifests | set(result["later"].get(review, [])):
                self.figures.lost.append(f"{command} {after}: {review}")

    def _found(self, command: str) -> dict[str, Any]:
        places, site = self.catalogue.places, self.site
        faults = [str(fault) for fault in verify(places, lambda _: None).faults]
        rows: dict[str, str] = {}
        if (places.database / database.DATABASE_NAME).exists():
            with database.reading(places.database) as opened:
                rows = dict(opened.rows("SELECT review_key, manifest_sha256 FROM review"))
                faults += [f"half done: {row}" for row in opened.rows(HALF_DONE)]
        if command == "publish":
            site, wrong = site_faults(places.root, self.folder / "fresh", self.site)
            faults += wrong
        elif command in {"backup", "restore"}:
            faults += _copy_faults(self.folder / ("backup" if command == "backup" else "restored"))
        elif command == "migrate":
            faults += _migrated_faults(self.folder / "older" / "catalogue", self._kept())
        return {"rows": rows, "faults": faults, "later": self._later(), "site": site}

    def _kept(self) -> list[Any]:
        """The readings of the catalogue kept of the first schema step."""
        root = unpacked("schema_0001", self.folder / "kept")
        every = database.migrations()
        now, database.migrations = database.migrations, lambda: every[:1]
        with database.reading(root) as opened:
            rows = opened.rows(READINGS)
        database.migrations = now
        return rows

    def _later(self) -> dict[str, list[str]]:
        """Manifests accepted after the acknowledged ones, by a run that was killed."""
        later: dict[str, list[str]] = {}
        for receipt in self.catalogue.places.ledger.receipts():
            known = self.acknowledged.get(receipt.review, set())
            if receipt.manifest in known:
                later[receipt.review] = []
            else:
                later.setdefault(receipt.review, []).append(receipt.manifest)
        return later

    def begin(self) -> None:
        """All is taken in, backed up and published."""
        everything = list(self.reviews.values())
        self._done("ingest all", lambda tell: self._taken_in(everything, tell))
        self._done("backup all", self._backup())
        self._done("publish", self._publish())

    def _done(self, command: str, work: Callable[[Told], None]) -> None:
        """One run that nothing breaks off."""
        status, messages = in_fork(work)
        assert status == 0, messages
        self._take(command, messages)

    def whole(self) -> None:
        """The next runs carry on: all is taken in, nothing is left over, a rebuild is equal."""
        self._done("recompute all", lambda tell: self._taken_in(None, tell))
        self.begin()
        status, messages = in_fork(lambda tell: tell(self._compared()))
        self.figures.rebuilds += 1
        self.figures.half_done += (
            messages[0] if messages and status == 0 else [f"compare: {messages}"]
        )
        for command in ("backup", "publish"):
            self._check(command)

    def _compared(self) -> list[str]:
        root = self.catalogue.places.root
        report = verify(self.catalogue.places, lambda _: None)
        wrong = [str(fault) for fault in report.faults] + report.gaps
        kept, copy = self.folder / "backup", self.folder / "copy"
        for folder in (root, kept):
            wrong += [str(path) for pattern in HALF_WRITTEN for path in folder.glob(pattern)]
        before = contents_of(root)
        shutil.rmtree(copy, ignore_errors=True)
        backup.restore(Catalogue(kept).places, copy, lambda _: None)
        wrong += _copy_faults(copy)
        for other in (kept, copy):
            result = contents_of(other)
            wrong += [f"{other}: {name} differs" for name in before if result[name] != before[name]]
        self._rebuilt()
        after = contents_of(root)
        return wrong + [f"{name} differs" for name in before if before[name] != after.get(name)]


def _copy_faults(folder: Path) -> list[str]:
    """What is wrong with a backup, or with a folder restored from one, as soon as it opens."""
    if not (folder / SETTINGS_NAME).exists():
        return []
    report = verify(Catalogue(folder).places, lambda _: None)
    return [f"{folder.name}: {fault}" for fault in report.faults]


def _migrated_faults(root: Path, kept: list[Any]) -> list[str]:
    """The next writer finds every row, and every schema step once."""
    with database.writing(root) as opened:
        steps = opened.rows("SELECT number FROM migration ORDER BY number")
        rows = opened.rows(READINGS)
    faults = [str(fault) for fault in verify(Catalogue(root).places, lambda _: None).faults]
    if steps != [(number,) for number, _, _ in database.migrations()]:
        faults.append(f"migrated to {steps}")
    return faults if rows == kept else [*faults, "readings lost in migrating"]


READINGS = "SELECT review_key, reading_key, value FROM reading ORDER BY ALL"
HALF_DONE = """
SELECT review_key, count(DISTINCT capture.file), count(DISTINCT analysis.analysis_key),
       count(DISTINCT reading.reading_key)
FROM review LEFT JOIN capture USING (review_key)
LEFT JOIN analysis USING (review_key, analysis_key)
LEFT JOIN reading USING (review_key, analysis_key)
GROUP BY review_key
HAVING count(DISTINCT capture.file) <> 2 OR count(DISTINCT analysis.analysis_key) <> 2
    OR count(DISTINCT reading.reading_key) < 20
    OR NOT EXISTS (FROM appearance WHERE appearance.review_key = review.review_key)
"""
"""Every review of the runner has two captures, each analysed, and readings of both."""
