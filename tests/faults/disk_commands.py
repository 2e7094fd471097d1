"""Write errors at the writes of whole command lines that change a catalogue or a user's file.

Run: python tests/faults/disk_commands.py [EVERY [COMMANDS]]. At each EVERY-th fault point of a
command an error is raised, once or from then on; a limit of the size of files makes the
database's own writes fail too. The command must end with a message, no file of the user may be
shorter, `verify` must find nothing wrong, and once the disk works again the next command must
close what is open. `disk_run.py` does the same inside ingest, recompute, rebuild, backup, restore
and publish. Prints a line a command; ends with 1 where anything was wrong.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("POLARS_MAX_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1]))

from faults.kill_commands import Killer, imported

COMMANDS = ("withdraw", "rename", "calibrate --save", "check --accept", "backfill", "ingest")
ERRORS = ("ENOSPC", "EIO", "EACCES", "EROFS")
LIMITS = (1, 2_000, 200_000, 1_000_000, 3_000_000)


class Failing(Killer):
    """The same command lines on a disk that fails."""

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
        failing = Failing(folder, 5)
        failing.run("ingest", kill=False)
        for command in commands:
            ended = failing.all_of(command, every)
            runs += ended["refused"] + ended["done"] + ended["wrong"]
            print(f"{command}: {dict(ended)}", flush=True)
        wrong = len(failing.wrong)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    print(f"{runs} runs on failing disks, {wrong} wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
