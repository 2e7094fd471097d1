"""Command lines carried out one after another by one process, which imports what they need once.

Run as a program it takes each as a line of JSON and answers with its exit code and what it said.
"""

from __future__ import annotations

import io
import json
import select
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from typing import TextIO


class Desk:
    """A process that carries out command lines of backbench."""

    def __init__(self, environment: dict[str, str]) -> None:
        self.process = subprocess.Popen(
            [sys.executable, __file__], env=environment, text=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip

    def begin(self, *words: object) -> None:
        """Begin a command; the one before it must have been answered."""
        assert self.process.stdin is not None
        print(json.dumps([str(word) for word in words]), file=self.process.stdin, flush=True)

    def answer(self, patience_s: float) -> tuple[int, str]:
        """Wait for it: its exit code and all that it said."""
        assert self.process.stdout is not None
        ready, _, _ = select.select([self.process.stdout], [], [], patience_s)
        assert ready, "no answer"
        code, said = json.loads(self.process.stdout.readline())
        return code, said


def carry_out(line: str) -> tuple[int, str]:
    """One command line as its program does it, but for the start and the end of a process."""
    from backbench.cli import main

    sys.argv = ["backbench", *json.loads(line)]
    said, code = io.StringIO(), 0
    with redirect_stdout(said), redirect_stderr(said):
        try:
            main()
        except SystemExit as end:
            code = int(end.code or 0)
    return code, said.getvalue()


def serve(asked: TextIO, answers: TextIO) -> None:
    """Answer every line until there are no more."""
    for line in asked:
        print(json.dumps(carry_out(line)), file=answers, flush=True)


if __name__ == "__main__":
    serve(sys.stdin, sys.stdout)
