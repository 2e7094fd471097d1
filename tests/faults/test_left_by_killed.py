"""Folders that are thrown away, where the process that made them was killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from backbench.storage import scratch
from backbench.storage.fault_injection import VARIABLE
from backbench.storage.scratch import SCRATCH, clear_left, scratch_folder
from faults.small_catalogue import small_catalogue, write_review

CODE = "import sys; from backbench.cli import main; sys.argv[0] = 'backbench'; main()"
COPY = """
import os, shutil, signal, sys
from pathlib import Path
from backbench.orchestration import run_server
shutil.copyfile = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
run_server._copy_prepared(Path(sys.argv[1]) / run_server.DATABASE)
"""


def ran(code: str, words: list[str], temporary: Path, fault: str = "") -> int:
    return subprocess.run(
        [sys.executable, "-c", code, *words], check=False, capture_output=True,
        env={**os.environ, "TMPDIR": str(temporary), VARIABLE: fault},
    ).returncode  # fmt: skip


def test_the_next_command_clears_away_what_killed_ones_left(tmp_path: Path) -> None:
    catalogue, temporary = small_catalogue(tmp_path / "catalogue"), tmp_path / "temporary"
    temporary.mkdir()
    root, runs = catalogue.places.root, catalogue.places.runs
    runs.mkdir()
    for version in (0, 1):
        write_review(tmp_path / "auk", version)
        catalogue.ingest([tmp_path / "auk"], history=False, processes=1)
    here = ["-c", str(root)]
    for code, words in (
        (CODE, ["check", str(tmp_path / "auk"), *here]),
        (CODE, ["history", "unit-of-auk", "--readings", *here]),
        (COPY, [str(runs)]),
    ):
        assert ran(code, words, temporary, "commit:1:kill") == -signal.SIGKILL
    # Each killed command has cleared away what the one before it left.
    assert not list(temporary.iterdir())
    assert [len(list(place.glob(f"{SCRATCH}*"))) for place in (root, runs)] == [1, 1]
    assert ran(CODE, ["verify", *here], temporary) == 0
    assert [list(place.glob(f"{SCRATCH}*")) for place in (root, runs)] == [[], []]


def test_a_folder_in_use_is_left_and_one_of_nobody_removed(tmp_path: Path) -> None:
    (tmp_path / f"{SCRATCH}left").mkdir()
    (tmp_path / f"{SCRATCH}left" / "rows").write_text("1")
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / f"{SCRATCH}link").symlink_to(tmp_path / "elsewhere")
    with scratch_folder(tmp_path) as used:
        (used / "rows").write_text("2")
        clear_left(tmp_path)
        assert (used / "rows").read_text() == "2"
        assert sorted(path.name for path in tmp_path.iterdir()) == sorted(
            ["elsewhere", used.name, f"{SCRATCH}link"]
        )
    assert not used.exists()
    clear_left(tmp_path / "not there")


def test_a_folder_that_was_taken_before_its_lock_is_made_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the making of a folder and its lock another command may find it unheld."""
    made = scratch.tempfile.mkdtemp

    def taken_first(**words: object) -> str:
        monkeypatch.undo()
        name = made(**words)  # type: ignore[call-overload]
        clear_left(tmp_path)
        return str(name)

    monkeypatch.setattr(scratch.tempfile, "mkdtemp", taken_first)
    with scratch_folder(tmp_path) as folder:
        assert list(tmp_path.iterdir()) == [folder]


def test_a_catalogue_whose_making_was_cut_off_is_made_by_the_next_init(tmp_path: Path) -> None:
    root, words = tmp_path / "catalogue", ["init", str(tmp_path / "catalogue")]
    assert ran(CODE, words, tmp_path, "rename:1:kill") == -signal.SIGKILL
    assert not (root / "backbench.toml").exists()
    assert (root / "vault").is_dir()
    assert ran(CODE, words, tmp_path) == 0
    names = {"backbench.toml", "vault", "ledger", "queries", "published"}
    assert {path.name for path in root.iterdir()} == names
    # What is anyone's own is never taken over.
    (tmp_path / "other" / "vault").mkdir(parents=True)
    (tmp_path / "other" / "vault" / "letter.txt").write_text("mine")
    assert ran(CODE, ["init", str(tmp_path / "other")], tmp_path) == 1
