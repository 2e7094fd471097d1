"""Withdrawals, renamings and histories: nothing is lost, and a rebuild tells the same."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.errors import UserError
from backbench.maintenance import corrections
from backbench.maintenance.history import history
from backbench.storage import atomic_io
from simulated import contents_of, simulated_catalogue

CASE = "single_ended_stage"


@pytest.fixture
def catalogue(tmp_path: Path, circuits: Path) -> Catalogue:
    made = simulated_catalogue(tmp_path / "catalogue")
    outcomes, refused = made.ingest([circuits / CASE], history=False, processes=1)
    assert len(outcomes) == 1
    assert not refused
    return made


def run(catalogue: Catalogue, *words: str) -> str:
    ran = CliRunner().invoke(app, [*words, "-c", str(catalogue.places.root)])
    if ran.exception and not isinstance(ran.exception, SystemExit):
        raise ran.exception
    assert ran.exit_code == 0, ran.output
    return ran.output


def keys(catalogue: Catalogue) -> tuple[str, str]:
    return catalogue.reviews()["review_key"][0], catalogue.units()["unit_key"][0]


def test_a_withdrawn_review_is_gone_and_comes_back_the_same(catalogue: Catalogue) -> None:
    review, _ = keys(catalogue)
    before = contents_of(catalogue.places.root)
    run(catalogue, "withdraw", review, "--reason", "wrong load")
    assert catalogue.reviews().is_empty()
    assert catalogue.readings().is_empty()
    assert catalogue.rebuild(processes=1) == ([], [])
    assert catalogue.reviews().is_empty()
    with pytest.raises(UserError, match="wrong load"):
        run(catalogue, "withdraw", review, "--reason", "again")
    run(catalogue, "withdraw", review, "--undo")
    after = contents_of(catalogue.places.root)
    for contents in (before, after):
        contents.pop("review")  # the receipt's number, rightly
        contents.pop("environment")
    assert after == before


def break_off(*_: object, **__: object) -> None:
    raise RuntimeError("broken off")


@pytest.mark.parametrize("command", ["withdraw", "recompute"])
def test_a_withdrawal_broken_off_is_carried_on(
    catalogue: Catalogue, command: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    review, _ = keys(catalogue)
    with monkeypatch.context() as patched:
        patched.setattr(corrections, "drop_withdrawn", break_off)
        with pytest.raises(RuntimeError):
            corrections.withdraw(catalogue.places, review, "wrong load")
    assert not catalogue.reviews().is_empty()
    if command == "withdraw":
        run(catalogue, "withdraw", review, "--reason", "wrong load")
    else:
        run(catalogue, "recompute", "--direct")
    assert catalogue.reviews().is_empty()
    assert catalogue.readings().is_empty()


def test_a_renaming_broken_off_is_carried_on(
    catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, unit = keys(catalogue)
    with monkeypatch.context() as patched:
        patched.setattr(Catalogue, "recompute", break_off)
        with pytest.raises(RuntimeError):
            run(catalogue, "rename", unit, "another-key")
    assert keys(catalogue)[1] == unit
    run(catalogue, "rename", unit, "another-key")
    assert keys(catalogue)[1] == "another-key"


def test_a_write_error_leaves_the_settings_as_they_were(
    catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, unit = keys(catalogue)
    settings = catalogue.places.root / "backbench.toml"
    before = settings.read_text()

    def no_space(_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(atomic_io, "flush_file", no_space)
    with pytest.raises(OSError, match="No space"):
        run(catalogue, "rename", unit, "another-key")
    assert settings.read_text() == before


def test_a_withdrawn_review_stays_withdrawn_until_it_is_corrected(
    catalogue: Catalogue, circuits: Path
) -> None:
    review, _ = keys(catalogue)
    run(catalogue, "withdraw", review, "--reason", "wrong load")
    outcomes, (refused,) = catalogue.ingest([circuits / CASE], history=False, processes=1)
    assert outcomes == []
    assert f"backbench withdraw {review} --undo" in str(refused.error)
    assert catalogue.recompute(history=False, processes=1) == ([], [])
    assert catalogue.reviews().is_empty()
    path = circuits / CASE / "review.toml"
    path.write_text(path.read_text().replace("mains_hz = 50", "mains_hz = 60"))
    (outcome,), _ = catalogue.ingest([circuits / CASE], history=False, processes=1)
    assert not outcome.unchanged
    assert catalogue.reviews()["review_key"].to_list() == [review]


def test_a_renamed_unit_is_found_under_its_new_key_also_after_a_rebuild(
    catalogue: Catalogue,
) -> None:
    review, unit = keys(catalogue)
    manifest = catalogue.places.ledger.newest()[review].manifest
    run(catalogue, "rename", unit, "renamed-one")
    assert catalogue.units()["unit_key"].to_list() == ["renamed-one"]
    assert set(catalogue.readings()["unit_key"]) <= {"renamed-one", ""}
    assert catalogue.places.ledger.newest()[review].manifest == manifest
    before = contents_of(catalogue.places.root)
    catalogue.rebuild(processes=1)
    assert contents_of(catalogue.places.root) == before
    assert f"Former keys, included above: {unit}" in run(catalogue, "history", "renamed-one")
    with pytest.raises(UserError, match="no such unit"):
        run(catalogue, "rename", unit, "other")
    with pytest.raises(UserError, match="lead back"):
        run(catalogue, "rename", "renamed-one", unit)


def test_history_tells_what_changed_and_which_readings_moved(
    catalogue: Catalogue, circuits: Path
) -> None:
    _, unit = keys(catalogue)
    path = circuits / CASE / "review.toml"
    text = path.read_text()
    assert "generator_vrms = 1.13137085" in text
    path.write_text(text.replace("generator_vrms = 1.13137085", "generator_vrms = 1.2"))
    catalogue.ingest([circuits / CASE], history=False, processes=1)
    before = contents_of(catalogue.places.root)
    first, second = history(catalogue.places, unit, with_readings=True)
    assert first.changes == ("first ingested",)
    assert len(second.changes) == 1
    assert "generator: 1.13137085 V is now 1.2 V" in second.changes[0]
    assert second.changed_readings
    gains = [one for one in second.changed_readings if one.metric == "gain"]
    assert {one.metric for one in second.changed_readings} >= {"gain"}
    assert all(one.before != one.after for one in gains)
    assert not [one for one in second.changed_readings if one.metric in {"thd", "level"}
                and None not in (one.before, one.after)]  # fmt: skip
    assert contents_of(catalogue.places.root) == before


def test_dry_runs_write_nothing(catalogue: Catalogue) -> None:
    review, unit = keys(catalogue)
    before = sorted(path.name for path in catalogue.places.root.rglob("*"))
    settings = (catalogue.places.root / "backbench.toml").read_bytes()
    run(catalogue, "withdraw", review, "--reason", "x", "--dry-run")
    run(catalogue, "rename", unit, "other", "--dry-run")
    assert sorted(path.name for path in catalogue.places.root.rglob("*")) == before
    assert (catalogue.places.root / "backbench.toml").read_bytes() == settings
