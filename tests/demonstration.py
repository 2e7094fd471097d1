"""The demonstration run as a newcomer runs it: the command, the orchestrator, real files."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from backbench.seed_dataset.scenario import Scenario, scenario
from part_of_demonstration import part

COMMAND = Path(sys.executable).with_name("backbench")
PART = Path(__file__).with_name("part_of_demonstration.py")


def run(*words: str | Path, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """A whole command line in a process of its own."""
    return _ran([COMMAND, *words], cwd)


def _ran(words: list[str | Path], cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(words, capture_output=True, text=True, timeout=3000, check=False, cwd=cwd)


@dataclass(frozen=True)
class Demo:
    """The demonstration's folder, what the command printed, and the scenario that it is of."""

    folder: Path
    output: str
    scenario: Scenario


def made_demo(folder: Path, *, whole: bool) -> Demo:
    """The demonstration in a new folder: the whole one, or the one of part of its scenario."""
    ran = run("demo", folder) if whole else _ran([sys.executable, PART, folder])
    assert ran.returncode == 0, ran.stderr[-2000:]
    return Demo(folder, ran.stdout, scenario() if whole else part())
