"""The demonstration run as a newcomer runs it: the command, the orchestrator, real files."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

COMMAND = Path(sys.executable).with_name("backbench")


def run(*words: str | Path, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """A whole command line in a process of its own."""
    return subprocess.run(
        [COMMAND, *words], capture_output=True, text=True, timeout=3000, check=False, cwd=cwd
    )


@dataclass(frozen=True)
class Demo:
    """The demonstration's folder, and what the command printed."""

    folder: Path
    output: str


def made_demo(folder: Path) -> Demo:
    """The demonstration in a new folder."""
    ran = run("demo", folder)
    assert ran.returncode == 0, ran.stderr[-2000:]
    return Demo(folder, ran.stdout)
