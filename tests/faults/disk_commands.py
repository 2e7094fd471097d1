"""Write errors at the writes of whole command lines that change a catalogue or a user's file.

Run: python tests/faults/disk_commands.py [EVERY [COMMANDS]]. At each EVERY-th fault point of a
command an error is raised, once or from then on; a limit of the size of files makes the
database's own writes fail too. The command must end with a message, no file of the user may be
shorter, `verify` must find nothing wrong, nothing half-written may stand beside the catalogue,
and once the disk works again the next command must close what is open. `disk_run.py` does the
same inside backup, restore and publish. Prints a line a command; ends with 1 where anything was
wrong.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("POLARS_MAX_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1]))

from faults.kill_commands import Killer, imported

COMMANDS = (
    "withdraw", "rename", "join", "calibrate --save", "check --accept", "backfill", "ingest",
    "recompute", "rebuild", "plan", "stimuli", "export",
)  # fmt: skip
OUTSIDE = {"plan", "stimuli", "export"}
"""Commands that change files outside the catalogue alone."""
ERRORS = ("ENOSPC", "EIO", "EACCES", "EROFS")
LIMITS = (1, 2_000, 200_000, 1_000_000, 3_000_000)


class Failing(Killer):
    """The same command lines, and some more, on a disk that fails."""

    def commands(self) -> dict[str, Callable[[], list[str]]]:
        more = {"join": self._join, "plan": self._plan, "stimuli": self._stimuli}
        return {**super().commands(), **more, "export": self._export}

    def words_of(self, command: str) -> list[str]:
        words = super().words_of(command)
        return words[:-2] if command == "stimuli" else words

    def _join(self) -> list[str]:
        """In the catalogue as it was before the first join."""
        parted = self.folder / "parted"
        if not parted.exists():
            shutil.copytree(self.root, parted)
        shutil.rmtree(self.root)
        shutil.copytree(parted, self.root)
        return ["join", "unit-of-auk", "unit-of-brant", "--yes"]

    def _plan(self) -> list[str]:
        from faults.small_catalogue import write_review

        self.number += 1
        write_review(self.folder / "egret", 0)
        manifest = self.folder / "egret" / "review.toml"
        rated = 'state = "serviced"\nrated_power_w = 5'
        manifest.write_text(manifest.read_text().replace('state = "serviced"', rated))
        return ["plan", str(self.folder / "egret"), "--gain-db", f"{20 + self.number % 9}"]

    def _stimuli(self) -> list[str]:
        """One tone at another level each time, beside the files of the time before."""
        from backbench.bench_day.planned_capture import PLAN_NAME, Plan, PlannedStep, plan_text

        self.number += 1
        tone = {"tone_hz": 1000.0, "generator_vrms": 0.1 + self.number / 1000}
        step = PlannedStep.model_validate({"file": "tone.wav", "stimulus": tone, "why": "a test"})
        egret, waves = self.folder / "egret", self.folder / "waves"
        egret.mkdir(exist_ok=True)
        (egret / PLAN_NAME).write_text(plan_text(Plan(review="egret", full_scale_v=4, step=[step])))
        for old in waves.glob("run-*"):
            old.unlink()
        return ["stimuli", str(egret), str(waves), "--rate", "48000"]

    def _export(self) -> list[str]:
        shutil.rmtree(self.folder / "opened", ignore_errors=True)
        return ["export", str(self.folder / "opened")]

    def outside_stands(self, command: str) -> None:
        """Files beside the catalogue are whole, and nothing is left half-written beside them."""
        import soundfile

        from backbench.bench_day.planned_capture import read_plan
        from backbench.storage.atomic_io import ASIDE

        for left in self.folder.rglob(f"{ASIDE}*"):
            if not left.is_relative_to(self.root):
                self.note(command, "half done", f"left: {left}")
        if (self.folder / "egret").exists():
            read_plan(self.folder / "egret")
        for path in (self.folder / "waves").glob("*.wav"):
            samples, rate = soundfile.read(path)
            if len(samples) < rate or not samples.any():
                self.note(command, "shortened", str(path))
        opened = self.folder / "opened"
        if opened.exists() and not (opened / "datapackage.json").exists():
            self.note(command, "half done", f"a part of {opened}")

    def tried(self, command: str, fault: str, limit: int) -> str:
        """One run: "done", "refused" or "wrong"."""
        words = self.words_of(command)
        kept, before = self.kept_files(), self.receipts()
        status = self.ended(self.begun(words, "failing", fault=fault, limit=limit))
        code, printed = os.waitstatus_to_exitcode(status), self.printed()
        os.close(self._printed)
        wrong = len(self.wrong)
        if code not in {0, 1, 3} or "Traceback" in printed or (code and not printed.strip()):
            self.note(command, "half done", f"with {fault or limit}: {code} {printed}")
        self.user_files_stand(command, kept)
        self.outside_stands(command)
        if command not in OUTSIDE:
            self.stands(command, before)
        if len(self.wrong) > wrong:
            print(f"  {command} with {fault or limit}: {code} {printed[-300:]}", flush=True)
            return "wrong"
        return "refused" if code == 1 else "done"

    def all_of(self, command: str, every: int) -> Counter[str]:
        """How the runs of a command ended."""
        self.run(command, kill=False)
        points = int((self.folder / "points").read_text())
        ended: Counter[str] = Counter(points=points)
        for n, point in enumerate(range(1, points + 1, every)):
            onward = "+" if n % 2 else ""
            fault = f"*:{point}{onward}:{ERRORS[n // 2 % len(ERRORS)]}"
            ended[self.tried(command, fault, 0)] += 1
        for limit in LIMITS:
            ended[self.tried(command, "", limit)] += 1
        return ended


def main() -> int:
    every = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    commands = sys.argv[2].split(",") if len(sys.argv) > 2 else COMMANDS
    imported()
    folder, runs, wrong = Path(tempfile.mkdtemp(prefix="backbench-disks-")), 0, 0
    try:
        for command in commands:
            # Each in a folder of its own: none makes what another needs impossible.
            own = folder / command.replace(" ", "")
            own.mkdir()
            failing = Failing(own, 5)
            failing.run("ingest", kill=False)
            ended = failing.all_of(command, every)
            runs += ended["refused"] + ended["done"] + ended["wrong"]
            wrong += len(failing.wrong)
            print(f"{command}: {dict(ended)}", flush=True)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    print(f"{runs} runs on failing disks, {wrong} wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
