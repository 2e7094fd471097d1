"""What was broken off is carried on by the next command; verify names what is open meanwhile."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

from backbench.catalogue import Catalogue
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


@pytest.fixture
def catalogue(tmp_path: Path) -> Catalogue:
    made = small_catalogue(tmp_path / "catalogue")
    for name in ("auk", "brant"):
        write_review(tmp_path / name, 0)
    made.ingest([tmp_path / "auk", tmp_path / "brant"], history=False, processes=1)
    return made


def ran(
    catalogue: Catalogue, words: Sequence[str], fault: str = ""
) -> subprocess.CompletedProcess[str]:
    root = catalogue.places.root
    return subprocess.run(
        [sys.executable, "-c", CODE, *words, "-c", str(root)],
        capture_output=True, text=True, check=False, cwd=root.parent,
        env={**os.environ, VARIABLE: fault} if fault else None,
    )  # fmt: skip


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_killed_before_its_commit_is_carried_on_by_a_command_that_only_looks(
    catalogue: Catalogue, tmp_path: Path, change: str
) -> None:
    if change == "undo":
        assert ran(catalogue, CHANGES["withdraw"]).returncode == 0
    if change == "ingest":
        write_review(tmp_path / "auk", 1)
    commit = {"withdraw": 1, "undo": 2}.get(change, 2)
    killed = ran(catalogue, CHANGES[change], f"commit:{commit}:kill")
    assert killed.returncode == -9, killed.stdout + killed.stderr
    assert unfinished(catalogue.places.ledger.folder) == {"auk"}
    report = verify(catalogue.places, nothing)
    assert (report.faults, report.gaps) == ([], [OPEN[change]])
    named = ran(catalogue, ["verify"])
    assert f"{OPEN[change]}; `backbench recompute` brings it up to date" in named.stdout
    assert unfinished(catalogue.places.ledger.folder) == {"auk"}
    looked = ran(catalogue, ["reviews"])
    assert "Carried on with what was broken off: auk." in looked.stderr
    assert not unfinished(catalogue.places.ledger.folder)
    report = verify(catalogue.places, nothing)
    assert (report.faults, report.gaps) == ([], [])
    held = {"auk", "brant"} - ({"auk"} if change == "withdraw" else set())
    assert set(catalogue.reviews()["review_key"]) == held
    assert "Carried on" not in ran(catalogue, ["reviews"]).stderr


def test_a_withdrawn_review_is_no_gap(catalogue: Catalogue) -> None:
    assert ran(catalogue, CHANGES["withdraw"]).returncode == 0
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
    killed = ran(catalogue, CHANGES["rename"], "commit:2:kill")
    assert killed.returncode == -9
    with catalogue.places.changing():
        looked = ran(catalogue, ["reviews"])
    assert (looked.returncode, looked.stderr) == (0, "")
    assert unfinished(catalogue.places.ledger.folder) == {"auk"}
