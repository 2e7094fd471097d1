"""What was broken off is carried on by the next command; verify names what is open meanwhile."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.maintenance.verify import verify
from backbench.progress import nothing
from backbench.storage.fault_injection import VARIABLE
from backbench.storage.unfinished import unfinished
from faults.small_catalogue import small_catalogue, write_review

CODE = "import sys; from backbench.cli import main; sys.argv[0] = 'backbench'; main()"
CHANGES = {
    "withdraw": ["withdraw", "auk", "--reason", "wrong load"],
    "undo": ["withdraw", "auk", "--undo"],
    "rename": ["rename", "unit-of-auk", "tern-auk"],
    "ingest": ["ingest", "auk", "--direct", "--processes", "1"],
}
OPEN = {
    "withdraw": "auk: withdrawn, but still in the database",
    "undo": "auk: receipt 4 is not in the database yet",
    "rename": "auk: the unit unit-of-auk is not called tern-auk in the database yet",
    "ingest": "auk: receipt 3 is not in the database yet",
}


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A catalogue of two reviews. Not to be changed."""
    folder = tmp_path_factory.mktemp("whole")
    made = small_catalogue(folder / "catalogue")
    for name in ("auk", "brant"):
        write_review(folder / name, 0)
    made.ingest([folder / "auk", folder / "brant"], history=False, processes=1)
    return made.places.root


@pytest.fixture
def catalogue(whole: Path, tmp_path: Path) -> Catalogue:
    return Catalogue(shutil.copytree(whole, tmp_path / "catalogue"))


def killed(catalogue: Catalogue, words: Sequence[str], fault: str) -> None:
    """A command in a process of its own, which is killed."""
    root = catalogue.places.root
    ran = subprocess.run(
        [sys.executable, "-c", CODE, *words, "-c", str(root)],
        capture_output=True, text=True, check=False, cwd=root.parent,
        env={**os.environ, VARIABLE: fault},
    )  # fmt: skip
    assert ran.returncode == -signal.SIGKILL, ran.stdout + ran.stderr


def run(catalogue: Catalogue, *words: str) -> Result:
    """A command that goes well."""
    ran = CliRunner().invoke(app, [*words, "-c", str(catalogue.places.root)])
    assert ran.exit_code == 0 or words == ("verify",), ran.output
    return ran


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_killed_before_its_commit_is_carried_on_by_a_command_that_only_looks(
    catalogue: Catalogue, tmp_path: Path, change: str
) -> None:
    if change == "undo":
        run(catalogue, *CHANGES["withdraw"])
    if change == "ingest":
        write_review(tmp_path / "auk", 1)
    commit = {"withdraw": 1, "undo": 2}.get(change, 2)
    killed(catalogue, CHANGES[change], f"commit:{commit}:kill")
    assert unfinished(catalogue.places.ledger.folder) == {"auk"}
    report = verify(catalogue.places, nothing)
    assert (report.faults, report.gaps) == ([], [OPEN[change]])
    named = run(catalogue, "verify")
    assert f"{OPEN[change]}; `backbench recompute` takes it in" in named.stdout
    assert unfinished(catalogue.places.ledger.folder) == {"auk"}
    looked = run(catalogue, "reviews")
    assert "Carried on with what was broken off: auk." in looked.stderr
    assert not unfinished(catalogue.places.ledger.folder)
    report = verify(catalogue.places, nothing)
    assert (report.faults, report.gaps) == ([], [])
    held = {"auk", "brant"} - ({"auk"} if change == "withdraw" else set())
    assert set(catalogue.reviews()["review_key"]) == held
    assert "Carried on" not in run(catalogue, "reviews").stderr


def test_a_withdrawn_review_is_no_gap(catalogue: Catalogue) -> None:
    run(catalogue, *CHANGES["withdraw"])
    report = verify(catalogue.places, nothing)
    assert (report.faults, report.gaps) == ([], [])
    assert not unfinished(catalogue.places.ledger.folder)


def test_a_unit_renamed_twice_is_to_stand_under_its_last_key(catalogue: Catalogue) -> None:
    settings = catalogue.places.root / "backbench.toml"
    renamed = '[aliases]\nunit-of-auk = "tern-auk"\ntern-auk = "tern"\n'
    settings.write_text(settings.read_text() + renamed)
    gaps = verify(Catalogue(catalogue.places.root).places, nothing).gaps
    assert gaps == ["auk: the unit unit-of-auk is not called tern in the database yet"]


def test_a_change_is_left_to_whoever_is_changing_the_catalogue(catalogue: Catalogue) -> None:
    killed(catalogue, CHANGES["rename"], "commit:2:kill")
    with catalogue.places.changing():
        looked = subprocess.run(
            [sys.executable, "-c", CODE, "reviews", "-c", str(catalogue.places.root)],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
    assert (looked.returncode, looked.stderr) == (0, "")
    assert unfinished(catalogue.places.ledger.folder) == {"auk"}
