"""Whole command lines killed at random instants, with all they started or alone.

Run: python tests/faults/kill_commands.py [KILLS [SEED [COMMANDS]]]. Every command that writes, or
every one of COMMANDS (names with commas between them), is begun as often; half the kills strike
its process group, half the command's own process only. After each kill no process may be left
after five seconds, no file of the user may be shorter or unreadable, `verify` must find nothing
wrong, and after the next command, one that only looks, nothing may be open. Prints a line a
command; ends with 1 where anything was wrong.
"""

from __future__ import annotations

import atexit
import importlib
import os
import pkgutil
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("POLARS_MAX_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1]))

from backbench.storage import fault_injection

if TYPE_CHECKING:
    from faults.forks import Told

REVIEWS = ("auk", "brant", "crake")
KILLED_WITHIN_S = 5.0
MARK = "BACKBENCH_KILLED_RUN"
"""An environment variable by which the processes of one run are found."""
COLUMNS = ("with group", "alone", "completed", "lost", "half done", "processes", "shortened")


class Killer:
    """One catalogue, changed by command lines that are killed."""

    def __init__(self, folder: Path, seed: int) -> None:
        from backbench.catalogue import Catalogue
        from faults.small_catalogue import small_catalogue, write_review
        from old_records import MAP

        self.folder, self.random = folder, random.Random(seed)
        self.root = small_catalogue(folder / "catalogue").places.root
        self.settings = self.root / "backbench.toml"
        self.open = lambda: Catalogue(self.root)
        self.version = dict.fromkeys(REVIEWS, 0)
        for name in REVIEWS:
            write_review(folder / name, 0)
        (folder / "map.toml").write_text(MAP)
        self._write_tone(folder / "tone.wav")
        self.number, self._printed = 0, -1
        self.seconds: dict[str, float] = {}
        self.table: dict[str, Counter[str]] = {}
        self.wrong: list[str] = []

    def _write_tone(self, path: Path) -> None:
        import numpy as np
        import soundfile

        noise = np.random.default_rng(1).normal(size=48000)
        wave = 0.3 * np.sin(2 * np.pi * 1000 * np.arange(48000) / 48000) + 1e-4 * noise
        soundfile.write(path, wave, 48000, subtype="PCM_24")

    # The command lines ----------------------------------------------------------------------

    def commands(self) -> dict[str, Callable[[], list[str]]]:
        """What makes the next command line of each kind ready, and gives its words."""
        return {
            "ingest": self._ingest,
            "ingest with workers": self._ingest,
            "ingest, recorded": lambda: [w for w in self._ingest() if w != "--direct"],
            "recompute": self._recompute,
            "rebuild": lambda: ["rebuild", "--processes", "1"],
            "withdraw": self._withdraw,
            "rename": self._rename,
            "calibrate --save": self._calibrate,
            "check --accept": self._check_accept,
            "backfill": self._backfill,
            "backup": lambda: ["backup", str(self.folder / "backup")],
            "restore": self._restore,
            "publish": lambda: ["publish", "--processes", "1"],
        }

    def _ingest(self) -> list[str]:
        from faults.small_catalogue import write_review

        count = 2 if self.receipts() else len(REVIEWS)
        chosen = self.random.sample(REVIEWS, count)
        for name in chosen:
            self.version[name] += 5
            write_review(self.folder / name, self.version[name])
        folders = [str(self.folder / name) for name in chosen]
        return ["ingest", *folders, "--direct", "--processes", "2"]

    def _recompute(self) -> list[str]:
        """After another calibration was written by hand."""
        self.number += 1
        text = self.settings.read_text()
        volts = 10 + self.number % 7
        head, sign, rest = text.partition("volts_peak_at_full_scale = { 1 = ")
        self.settings.write_text(head + sign + f"{volts}.0 " + rest[rest.index("}") :])
        return ["recompute", "--direct", "--processes", "1"]

    def _withdraw(self) -> list[str]:
        name = self.random.choice(REVIEWS)
        standing = self._standing()
        if name not in standing:
            return ["withdraw", name, "--undo"]
        if len(standing) == 1:
            return ["withdraw", next(key for key in REVIEWS if key != name), "--undo"]
        return ["withdraw", name, "--reason", "another load"]

    def _standing(self) -> list[str]:
        """Reviews with captures that are not withdrawn."""
        newest = self.open().places.ledger.newest()
        return [key for key in REVIEWS if key in newest and newest[key].withdrawn is None]

    def _rename(self) -> list[str]:
        from backbench.documents.settings import read_settings

        name = self.random.choice(self._standing())
        present = read_settings(self.root).unit_key(f"unit-of-{name}")
        self.number += 1
        return ["rename", present, f"{name}-{self.number}"]

    def _calibrate(self) -> list[str]:
        self.number += 1
        date = (
            f"{2000 + self.number % 20}-{1 + self.number // 20 % 12:02}-{1 + self.number // 240:02}"
        )
        return ["calibrate", str(self.folder / "tone.wav"), "--volts", "2.004 V",
                "--meter-uncertainty-percent", "0.2 %", "--bench", "shed", "--date", date,
                "--save"]  # fmt: skip

    def _check_accept(self) -> list[str]:
        from faults.small_catalogue import write_review

        write_review(self.folder / "dunlin", 0)
        manifest = self.folder / "dunlin" / "review.toml"
        text = manifest.read_text()
        table = text.index('[[capture]]\nfile = "response.csv"')
        manifest.write_text(text[:table])
        shutil.copy(self.folder / "tone.wav", self.folder / "dunlin" / "unnamed.wav")
        return ["check", str(self.folder / "dunlin"), "--accept"]

    def _backfill(self) -> list[str]:
        from old_records import HEADINGS

        self.number += 1
        rows = [
            f"s{n},2010-05-0{n},Marrow,Model {n},amp,valve,1961,ok,20,0.{self.number % 90 + 10},,,,"
            for n in range(1, 4)
        ]
        (self.folder / "sheet.csv").write_text("\n".join([",".join(HEADINGS), *rows]) + "\n")
        return ["backfill", str(self.folder / "sheet.csv"), "--map", str(self.folder / "map.toml"),
                "--yes"]  # fmt: skip

    def _restore(self) -> list[str]:
        if self.random.random() < 0.5:
            shutil.rmtree(self.folder / "restored", ignore_errors=True)
        return ["restore", str(self.folder / "backup"), str(self.folder / "restored")]

    def words_of(self, command: str) -> list[str]:
        """The next command line of a kind, made ready."""
        words = self.commands()[command]()
        if command not in {"restore", "check --accept"}:
            words += ["-c", str(self.root)]
        return words

    # One run --------------------------------------------------------------------------------

    def run(self, command: str, kill: bool) -> bool:
        """One command line; whether it was killed."""
        counts = self.table.setdefault(command, Counter())
        words = self.words_of(command)
        kept = self.kept_files()
        before = self.receipts()
        self.number += 1
        mark = f"{os.getpid()}-{self.number}"
        began = time.monotonic()
        child = self.begun(words, mark, with_workers=command == "ingest with workers")
        alone = self.random.random() < 0.5
        status = self.ended(child, alone, self._instant(command) if kill else None)
        killed, printed = os.WIFSIGNALED(status), self.printed()
        os.close(self._printed)
        if killed:
            counts["alone" if alone else "with group"] += 1
        else:
            counts["completed"] += 1
            self.seconds[command] = time.monotonic() - began
            if os.waitstatus_to_exitcode(status) not in {0, 1, 3}:
                self.note(command, "half done", f"exit {status}: {printed}")
            if os.waitstatus_to_exitcode(status) == 1 and command != "check --accept":
                self.note(command, "half done", printed)
        left = self._left(mark)
        if left:
            self.note(command, "processes", f"left: {left}")
        self.user_files_stand(command, kept)
        self.stands(command, before)
        return killed

    def _instant(self, command: str) -> float:
        return self.random.uniform(0.0, self.seconds[command])

    def begun(
        self,
        words: list[str],
        mark: str,
        with_workers: bool = False,
        fault: str = "",
        limit: int = 0,
    ) -> int:
        """Begin a command line in a fork. fault: as BACKBENCH_FAULT has it. limit: bytes that no
        file may grow beyond."""
        # Not a file: what is printed is no matter of the disk.
        reading, writing = os.pipe()
        child = os.fork()
        if child:
            os.close(writing)
            self._printed = reading
            return child
        code = 70
        try:
            os.setsid()
            os.environ[MARK] = mark
            os.environ[fault_injection.VARIABLE] = fault or "none:0:kill"
            os.dup2(writing, 1)
            os.dup2(writing, 2)
            # Of the new files: the old streams may hold that theirs can be wound back.
            sys.stdout = os.fdopen(1, "w", encoding="utf-8", closefd=False)
            sys.stderr = os.fdopen(2, "w", encoding="utf-8", closefd=False)
            if limit:
                resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
            code = _command_line(words, with_workers)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY,) * 2)
            (self.folder / "points").write_text(str(fault_injection.passed.total()))
            atexit._run_exitfuncs()
            sys.stdout.flush()
            os._exit(code)

    def ended(self, child: int, alone: bool = False, after: float | None = None) -> int:
        if after is not None:
            until = time.monotonic() + after
            while time.monotonic() < until:
                done, status = os.waitpid(child, os.WNOHANG)
                if done:
                    return status
                time.sleep(0.002)
            if alone:
                os.kill(child, signal.SIGKILL)
            else:
                with suppress(ProcessLookupError):  # it leads no group yet: it began just now
                    os.killpg(child, signal.SIGKILL)
                with suppress(ProcessLookupError):
                    os.kill(child, signal.SIGKILL)
        return os.waitpid(child, 0)[1]

    def _left(self, mark: str) -> list[int]:
        """Processes of the run that are there after five seconds; they are ended."""
        give_up = time.monotonic() + KILLED_WITHIN_S
        while (left := _marked(mark)) and time.monotonic() < give_up:
            time.sleep(0.1)
        for process in left:
            os.kill(process, signal.SIGKILL)
        return left

    def printed(self) -> str:
        """What the last command line printed, its end."""
        os.set_blocking(self._printed, False)
        try:
            return os.read(self._printed, 1 << 16).decode()[-600:]
        except BlockingIOError:
            return ""

    def note(self, command: str, kind: str, what: str) -> None:
        self.table[command][kind] += 1
        self.wrong.append(f"{command}: {kind}: {what}")
        print(self.wrong[-1], flush=True)

    # What must hold -------------------------------------------------------------------------

    def _user_files(self) -> list[Path]:
        dunlin = self.folder / "dunlin" / "review.toml"
        return [self.settings, *([dunlin] if dunlin.exists() else [])]

    def kept_files(self) -> list[str]:
        """The content of the user's files."""
        return [path.read_text() for path in self._user_files()]

    def user_files_stand(self, command: str, kept: list[str]) -> None:
        """Each line that stood there stands, and the file can be read."""
        import tomllib

        for path, before in zip(self._user_files(), kept, strict=True):
            text = path.read_text()
            lost = set(before.splitlines()) - set(text.splitlines())
            try:
                tomllib.loads(text)
            except ValueError as error:
                lost.add(str(error))
            if lost:
                self.note(command, "shortened", f"{path}: {lost}")

    def receipts(self) -> dict[str, bytes]:
        folder = self.root / "ledger"
        return {path.name: path.read_bytes() for path in folder.glob("[0-9]*.json")}

    def stands(self, command: str, before: dict[str, bytes]) -> None:
        from faults.forks import in_fork

        now = self.receipts()
        if any(now.get(name) != data for name, data in before.items()):
            self.note(command, "lost", "a receipt")
        copies = ["backup", "restored"] if command in {"backup", "restore"} else []
        status, messages = in_fork(lambda tell: self._found(tell, copies))
        if status or len(messages) < 2:
            self.note(command, "half done", f"verify failed: {messages}")
            return
        result, after = messages[:2]
        for fault in [*result["faults"], *after["faults"]]:
            self.note(command, "half done", fault)
        for gap in after["gaps"]:
            self.note(command, "half done", f"{gap}, before: {result['gaps']}")
        missing = set(after["expected"]) - set(after["held"])
        if missing:
            self.note(command, "lost", str(missing))

    def _found(self, tell: Told, copies: list[str]) -> None:
        """What `verify` finds, here and in the copies, before and after the next command begins;
        reviews that stand, and those held."""
        from backbench.catalogue import Catalogue
        from backbench.commands.common import opened
        from backbench.maintenance.verify import verify
        from backbench.progress import nothing

        home = self.open()
        for begin in (lambda: home, lambda: opened(self.root)):
            report = verify(begin().places, nothing)
            newest = home.places.ledger.newest()
            tell({
                "faults": [str(fault) for fault in report.faults],
                "gaps": report.gaps,
                "held": home.reviews()["review_key"].to_list() if newest else [],
                "expected": [key for key, one in newest.items() if one.withdrawn is None],
            })  # fmt: skip
        for name in copies:
            if (self.folder / name / "backbench.toml").exists():
                copied = verify(Catalogue(self.folder / name).places, nothing)
                assert not copied.faults, (name, copied.faults)


def _command_line(words: list[str], with_workers: bool) -> int:
    """The exit code of a command line, in this process."""
    from backbench.cli import main
    from backbench.ingest import worker_pool

    if with_workers:
        worker_pool.WORTH_A_POOL = 1
    sys.argv = ["backbench", *words]
    try:
        main()
    except SystemExit as ended:
        return ended.code if isinstance(ended.code, int) else int(ended.code is not None)
    return 0


def _marked(mark: str) -> list[int]:
    """Processes that bear the mark and are not ended."""
    from processes import alive

    needle = f"{MARK}={mark}".encode()
    result = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            words = (folder / "environ").read_bytes().split(b"\0")
        except OSError:
            continue
        if needle in words and alive(int(folder.name)):
            result.append(int(folder.name))
    return result


def imported() -> None:
    """What the command lines need, before any fork: a run then costs no start."""
    import altair  # noqa: F401
    import polars  # noqa: F401
    import vl_convert  # noqa: F401

    import backbench
    from backbench.metrics.registry import registry

    for one in pkgutil.walk_packages(backbench.__path__, "backbench."):
        if "orchestration" not in one.name:
            importlib.import_module(one.name)
    registry()


def table(killer: Killer) -> list[str]:
    """A line for each command, and one for all."""
    total: Counter[str] = Counter()
    lines = [f"{'command':22}" + "".join(f"{name:>12}" for name in COLUMNS)]
    for command, counts in killer.table.items():
        total += counts
        lines.append(f"{command:22}" + "".join(f"{counts[name]:12}" for name in COLUMNS))
    return [*lines, f"{'all':22}" + "".join(f"{total[name]:12}" for name in COLUMNS)]


def carried_out(
    killer: Killer, commands: list[str], kills: int, report: Callable[[str], Any]
) -> None:
    """Each command once to its end, then each in turn, killed, until there were so many kills.

    One ingest comes before all: an empty catalogue has nothing to publish or to carry on.
    """
    for command in dict.fromkeys(["ingest", *commands]):
        killer.run(command, kill=False)
    done = turns = 0
    while done < kills:
        command = commands[turns % len(commands)]
        turns += 1
        # These take many times as long as the others: they come every eighth time.
        if command in {"ingest, recorded", "publish"} and turns // len(commands) % 8:
            continue
        done += killer.run(command, kill=True)
        if turns % 40 == 0:
            report(f"{done} kills, {len(killer.wrong)} wrong")


def main() -> int:
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    imported()
    folder = Path(tempfile.mkdtemp(prefix="backbench-kills-"))
    began = time.monotonic()
    try:
        killer = Killer(folder, seed)
        commands = sys.argv[3].split(",") if len(sys.argv) > 3 else list(killer.commands())
        carried_out(killer, commands, kills, lambda line: print(line, flush=True))
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    for line in table(killer):
        print(line)
    print(f"seed {seed}, {time.monotonic() - began:.0f} s, {len(killer.wrong)} wrong")
    return 1 if killer.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
