"""Commands killed where all that they committed stands in the database's log alone.

Run: python tests/faults/kept_logs.py [KILLS [SEED [COMMANDS]]]. As kill_commands.py, but the
database never works its log into its file by itself: neither when the log is long nor when the
database is closed. Half the kills strike at a commit, just after it or at the closing, the others
in the latter half of a command. The next command has to replay the log. Then a catalogue of the
first schema step is migrated, and killed after each step in turn. Prints how many runs left a log,
and a line a command; ends with 1 where anything was wrong.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from faults.kill_commands import Killer, carried_out, imported, table

POINTS = ("commit", "committed", "close", "closed")
AT_MOST = 4
"""Times that a command commits or closes, at which it is killed; some do so more often."""


@contextmanager
def log_kept() -> Iterator[None]:
    """Databases that are opened for writing keep their log, in forks made meanwhile."""
    from backbench.storage import database

    library = database.duckdb
    connect: Callable[..., Any] = library.connect

    def keeping(*words: Any, **named: Any) -> Any:
        opened = connect(*words, **named)
        if words and not named.get("read_only"):
            opened.execute("SET wal_autocheckpoint = '1TB'")
            opened.execute("PRAGMA disable_checkpoint_on_shutdown")
        return opened

    library.connect = keeping
    try:
        yield
    finally:
        library.connect = connect


class Logged(Killer):
    """The same command lines on a database that keeps its log."""

    def __init__(self, folder: Path, seed: int) -> None:
        super().__init__(folder, seed)
        self.logs = self.runs = 0
        self._at_a_point = False

    def begun(
        self, words: list[str], mark: str, with_workers: bool = False, fault: str = "",
        limit: int = 0,
    ) -> int:  # fmt: skip
        if self._at_a_point:
            fault = f"{self.random.choice(POINTS)}:{self.random.randint(1, AT_MOST)}:kill"
        with log_kept():
            return super().begun(words, mark, with_workers, fault, limit)

    def run(self, command: str, kill: bool) -> bool:
        self._at_a_point = kill and self.random.random() < 0.5
        return super().run(command, kill)

    def _instant(self, command: str) -> float:
        whole = self.seconds[command]
        return 20 * whole if self._at_a_point else self.random.uniform(0.5, 1.0) * whole

    def stands(self, command: str, before: dict[str, bytes]) -> None:
        self.runs += 1
        self.logs += any(log.stat().st_size for log in self.root.glob("*.wal"))
        super().stands(command, before)


def migrated(folder: Path, report: Callable[[str], Any]) -> list[str]:
    """What is wrong after a migration that was killed after each of its steps."""
    from backbench.catalogue import Catalogue
    from backbench.ingest.run_ingest import prepare
    from backbench.storage.database import migrations
    from faults.forks import in_fork
    from faults.kill_runner import READINGS, _migrated_faults
    from fixtures.make_schema import unpacked

    wrong: list[str] = []

    def killed_after(step: int) -> list[Any]:
        shutil.rmtree(folder / "older", ignore_errors=True)
        root = unpacked("schema_0001", folder / "older")
        with log_kept():
            in_fork(lambda _: prepare(Catalogue(root).places), f"committed:{step}:kill")
        status, told = in_fork(lambda tell: tell(_read(root)))
        return told if status == 0 else [f"status {status}"]

    def _read(root: Path) -> list[str]:
        from backbench.storage.database import writing

        with writing(root) as store:
            kept = store.rows(READINGS)
        return _migrated_faults(root, kept) + ([] if kept else ["no readings"])

    for step in range(1, len(migrations()) + 1):
        told = killed_after(step)
        if not told or told[0] != []:
            wrong.append(f"killed after step {step}: {told}")
            report(wrong[-1])
    report(f"migration killed after each of {len(migrations())} commits: {len(wrong)} wrong")
    return wrong


def main() -> int:
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    imported()
    folder, began = Path(tempfile.mkdtemp(prefix="backbench-logs-")), time.monotonic()
    try:
        wrong = migrated(folder, lambda line: print(line, flush=True))
        killer = Logged(folder, seed)
        commands = sys.argv[3].split(",") if len(sys.argv) > 3 else list(killer.commands())
        carried_out(killer, commands, kills, lambda line: print(line, flush=True))
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    for line in table(killer):
        print(line)
    wrong += killer.wrong
    print(f"seed {seed}: {killer.logs} of {killer.runs} runs left a log to replay; "
          f"{time.monotonic() - began:.0f} s, {len(wrong)} wrong")  # fmt: skip
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
