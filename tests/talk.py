"""A command on a pseudo-terminal, for tests of what it asks."""

from __future__ import annotations

import os
import pty
import select
import subprocess
import sys
import time
from pathlib import Path


class Talk:
    """A command on a pseudo-terminal: what it prints, and what is typed."""

    def __init__(self, *words: str | Path) -> None:
        self.ours, theirs = pty.openpty()
        command = [sys.executable, "-c", "from backbench.cli import main; main()", *map(str, words)]
        self.process = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs,
                                        start_new_session=True)  # fmt: skip
        os.close(theirs)
        self.text, self.seen = "", 0

    def answer(self, question: str, typed: str) -> None:
        """Type a line once a question has come."""
        self.until(question)
        os.write(self.ours, typed.encode())

    def until(self, words: str) -> None:
        end = time.monotonic() + 120
        while words not in self.text[self.seen :]:
            assert time.monotonic() < end, self.text
            assert self._read(), f"{words!r} never came: {self.text}"
        self.seen = self.text.index(words, self.seen) + len(words)

    def end(self) -> int:
        while self._read():
            pass
        code = self.process.wait(timeout=60)
        os.close(self.ours)
        return code

    def _read(self) -> bool:
        if not select.select([self.ours], [], [], 60)[0]:
            return False
        try:
            piece = os.read(self.ours, 4096)
        except OSError:
            return False
        self.text += piece.decode().replace("\r\n", "\n")
        return bool(piece)
