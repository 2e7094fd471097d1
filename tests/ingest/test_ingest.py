"""Ingest: once, again, corrected, interrupted, rebuilt; and input that is at fault."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import soundfile
from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.errors import UserError
from backbench.ingest import incremental, run_ingest
from backbench.ingest.run_ingest import Outcome, Refused
from simulated import CIRCUITS, contents_of, simulated_catalogue


@pytest.fixture
def catalogue(tmp_path: Path) -> Catalogue:
    return simulated_catalogue(tmp_path / "catalogue")


@pytest.fixture(autouse=True)
def _measured_once(request: pytest.FixtureRequest) -> None:
    """Only what is rebuilt is measured anew: these tests are about which captures are measured."""
    if "rebuild" not in request.node.name:
        request.getfixturevalue("measured_once")


def take_in(catalogue: Catalogue, *folders: Path) -> tuple[list[Outcome], list[Refused]]:
    return catalogue.ingest(folders, history=False, processes=1)


def taken_in(catalogue: Catalogue, folder: Path) -> Outcome:
    (outcome,), refused = take_in(catalogue, folder)
    assert not refused
    return outcome


def refused(catalogue: Catalogue, folder: Path) -> UserError:
    """The error of a review that must not be taken in, and must leave nothing behind."""
    outcomes, (item,) = take_in(catalogue, folder)
    assert not outcomes
    assert catalogue.reviews().is_empty()
    return item.error


def edit(folder: Path, old: str, new: str) -> None:
    path = folder / "review.toml"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))


def test_the_same_input_again_computes_nothing_and_changes_nothing(
    catalogue: Catalogue, circuits: Path
) -> None:
    folders = sorted(circuits.iterdir())
    take_in(catalogue, *folders)
    before = contents_of(catalogue.places.root)
    outcomes, _ = take_in(catalogue, *folders)
    assert [(o.computed, o.unchanged) for o in outcomes] == [(0, True)] * len(folders)
    assert contents_of(catalogue.places.root) == before


def test_rebuild_gives_every_table_again(catalogue: Catalogue, circuits: Path) -> None:
    take_in(catalogue, *sorted(circuits.iterdir()))
    edit(circuits / "single_ended_stage", "sine_low.flac", "sine_lost.flac")
    take_in(catalogue, circuits / "single_ended_stage")
    before = contents_of(catalogue.places.root)
    shutil.rmtree(circuits)
    (catalogue.places.root / "catalogue.duckdb").unlink()
    outcomes, faults = catalogue.rebuild(processes=1)
    assert (len(outcomes), faults) == (4, [])
    assert contents_of(catalogue.places.root) == before
    assert all(before[table] for table in ("reading", "curve", "analysis", "reading_point"))


def test_a_corrected_manifest_recomputes_only_what_it_touches(
    catalogue: Catalogue, circuits: Path
) -> None:
    folder = circuits / "single_ended_stage"
    assert taken_in(catalogue, folder).computed == 3
    edit(folder, "generator_vrms = 1.13137085", "generator_vrms = 1.2")
    outcome = taken_in(catalogue, folder)
    assert (outcome.computed, outcome.kept) == (1, 2)
    edit(folder, 'model = "triode stage"', 'model = "Triode Stage II"')
    outcome = taken_in(catalogue, folder)
    assert (outcome.computed, outcome.kept, outcome.unchanged) == (0, 3, False)
    assert catalogue.units()["model"].to_list() == ["Triode Stage II"]


def test_a_corrected_ingest_equals_one_that_was_right_at_once(
    tmp_path: Path, catalogue: Catalogue, circuits: Path
) -> None:
    folder = circuits / "class_b_power_steps"
    edit(folder, "load_ohm = 8", "load_ohm = 16")
    taken_in(catalogue, folder)
    edit(folder, "load_ohm = 16", "load_ohm = 8")
    taken_in(catalogue, folder)
    straight = simulated_catalogue(tmp_path / "straight")
    taken_in(straight, folder)
    left, right = contents_of(catalogue.places.root), contents_of(straight.places.root)
    left.pop("review"), right.pop("review")  # they differ in the receipt's number, rightly
    assert left == right


def test_a_capture_taken_out_takes_its_readings_along(catalogue: Catalogue, circuits: Path) -> None:
    folder = circuits / "single_ended_stage"
    taken_in(catalogue, folder)
    text = (folder / "review.toml").read_text()
    (folder / "review.toml").write_text(text[: text.rindex("[[capture]]")])
    taken_in(catalogue, folder)
    assert catalogue.captures().height == 2
    left = catalogue.frame(
        "SELECT DISTINCT sha256 FROM reading JOIN analysis_capture USING (review_key, analysis_key)"
    )
    assert set(left["sha256"]) == set(catalogue.captures()["sha256"])


def test_staged_work_of_a_broken_run_is_carried_on(
    catalogue: Catalogue, circuits: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = circuits / "class_b_power_steps"
    _broken_off(catalogue, folder, monkeypatch)
    started: list[int] = []
    catalogue.ingest([folder], history=False, processes=1, started=started.append)
    assert started == [0]
    assert catalogue.captures()["status"].to_list() == ["analysed"] * 12


@pytest.mark.parametrize("table", ["reading", "curve", "result"])
def test_a_staged_chunk_that_a_power_cut_damaged_is_not_used(
    catalogue: Catalogue, circuits: Path, monkeypatch: pytest.MonkeyPatch, table: str
) -> None:
    folder = circuits / "class_b_power_steps"
    _broken_off(catalogue, folder, monkeypatch)
    (path,) = catalogue.places.staged.glob(f"*/*/{table}.parquet")
    data = bytearray(path.read_bytes())
    middle = len(data) // 3
    data[middle : middle + 16] = bytes(16)
    path.write_bytes(data)
    started: list[int] = []
    catalogue.ingest([folder], history=False, processes=1, started=started.append)
    assert started == [12]
    assert not list(catalogue.places.staged.iterdir())


def _broken_off(catalogue: Catalogue, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An ingest that ends between analysis and loading."""

    def broken(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(run_ingest, "load_reviews", broken)
        with pytest.raises(KeyboardInterrupt):
            take_in(catalogue, folder)
    assert catalogue.reviews().is_empty()


def test_a_missing_file_fails_alone(catalogue: Catalogue, circuits: Path) -> None:
    folder = circuits / "single_ended_stage"
    (folder / "sine_mid.flac").unlink()
    outcome = taken_in(catalogue, folder)
    assert outcome.failed == (("sine_mid.flac", "no such file"),)
    assert catalogue.readings().filter(pl.col("metric") == "thd").height == 2
    shutil.copy(CIRCUITS / "single_ended_stage" / "sine_mid.flac", folder)
    assert taken_in(catalogue, folder).computed == 1


@pytest.mark.parametrize("damage", ["text", "short", "nan", "empty"])
def test_a_bad_recording_fails_alone_with_its_reason(
    catalogue: Catalogue, circuits: Path, damage: str
) -> None:
    folder = circuits / "single_ended_stage"
    victim = folder / "sine_mid.flac"
    if damage == "text":
        victim.write_text("this is no recording")
    elif damage == "short":
        victim.write_bytes(victim.read_bytes()[:20_000])
    elif damage == "empty":
        victim.write_bytes(b"")
    else:
        samples = np.zeros((9600, 2), dtype="float32")
        samples[4000, 1] = np.nan
        wav = folder / "nan.wav"
        soundfile.write(wav, samples, 96000, subtype="FLOAT")
        wav.replace(victim)
    ((file, reason),) = taken_in(catalogue, folder).failed
    assert file == "sine_mid.flac"
    assert "\n" not in reason
    if damage == "nan":
        assert "NaN" in reason
        assert "4000" in reason
    assert catalogue.readings().filter(pl.col("metric") == "thd").height == 2


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("mains_hz = 50", "mains_herz = 50", "mains_herz"),
        ("mains_hz = 50", "", "mains_hz"),
        ("load_ohm = 8", "load_ohm = 0", "above 0"),
        ("load_ohm = 8", "", "load_ohm"),
        ('unit = "single-ended"', 'unit = "single-edned"', "single-edned"),
        ('range = "20 V"', 'range = "30 V"', "no calibration"),
        ('bench = "simulator"', 'bench = "attic"', "attic"),
        ("tone_hz = 1000", "tone_hz = nan", "finite"),
        ("tone_hz = 1000, generator", "tone_hz = 1000, idle = 'x', generator", "exactly one"),
        ("date = 2026-02-01", 'date = "1 Feb"', "date"),
        ('key = "single-ended-stage"', 'key = "Single Ended"', "small letters"),
        ("[review]", "[review", "as many ] as ["),
    ],
)  # fmt: skip
def test_a_faulty_manifest_is_reported_and_nothing_is_taken_in(
    catalogue: Catalogue, circuits: Path, old: str, new: str, message: str
) -> None:
    folder = circuits / "single_ended_stage"
    edit(folder, old, new)
    error = refused(catalogue, folder)
    assert any(message in str(fault) for fault in error.faults), str(error)
    assert all("\n" not in str(fault) for fault in error.faults)


def test_a_file_outside_the_folder_costs_its_capture(catalogue: Catalogue, circuits: Path) -> None:
    folder = circuits / "single_ended_stage"
    edit(folder, 'file = "sine_low.flac"', 'file = "../sine_low.flac"')
    (outcome,), _ = take_in(catalogue, folder)
    (entry,) = outcome.ended.in_state("refused")
    assert (entry.file, "inside the review's folder" in str(entry.reason)) == (
        "../sine_low.flac", True,
    )  # fmt: skip


def test_all_faults_are_reported_at_once(catalogue: Catalogue, circuits: Path) -> None:
    folder = circuits / "single_ended_stage"
    edit(folder, "mains_hz = 50", "mains_hz = 5000")
    edit(folder, 'technology = "tube"', 'technology = "valve"')
    edit(folder, "load_ohm = 8", "load_ohm = -8")
    assert len(refused(catalogue, folder).faults) == 3


def test_a_second_review_under_a_used_key_is_refused(
    catalogue: Catalogue, circuits: Path, tmp_path: Path
) -> None:
    taken_in(catalogue, circuits / "single_ended_stage")
    before = contents_of(catalogue.places.root)
    other = tmp_path / "other"
    shutil.copytree(circuits / "single_ended_stage", other)
    edit(other, "date = 2026-02-01", "date = 2026-03-01")
    _, (item,) = take_in(catalogue, other)
    assert "already the key of another review" in str(item.error)
    assert contents_of(catalogue.places.root) == before


def test_a_moved_review_folder_is_the_same_review(
    catalogue: Catalogue, circuits: Path, tmp_path: Path
) -> None:
    taken_in(catalogue, circuits / "single_ended_stage")
    moved = tmp_path / "moved"
    (circuits / "single_ended_stage").rename(moved)
    assert taken_in(catalogue, moved).unchanged


def test_links_out_of_the_folder_and_devices_are_not_followed(
    catalogue: Catalogue, circuits: Path
) -> None:
    folder = circuits / "single_ended_stage"
    for name, target in (("sine_low.flac", "/etc/hostname"), ("sine_mid.flac", "/dev/zero")):
        (folder / name).unlink()
        (folder / name).symlink_to(target)
    failed = dict(taken_in(catalogue, folder).failed)
    assert set(failed) == {"sine_low.flac", "sine_mid.flac"}
    assert all("leads out" in reason for reason in failed.values())


def test_a_refused_review_costs_no_other(catalogue: Catalogue, circuits: Path) -> None:
    edit(circuits / "push_pull_taps", "mains_hz = 50", "")
    outcomes, faults = take_in(catalogue, *sorted(circuits.iterdir()))
    assert len(outcomes) == 3
    assert len(faults) == 1


def test_a_calibration_corrected_moves_the_readings(catalogue: Catalogue, circuits: Path) -> None:
    taken_in(catalogue, circuits / "single_ended_stage")
    levels = catalogue.readings().filter(pl.col("metric") == "level")["value"].to_numpy()
    path = catalogue.places.root / "backbench.toml"
    path.write_text(path.read_text().replace("{ 1 = 20.0, 2", "{ 1 = 22.0, 2"))
    outcomes, _ = catalogue.recompute(history=False, processes=1)
    assert [o.computed for o in outcomes] == [3]
    moved = catalogue.readings().filter(pl.col("metric") == "level")["value"].to_numpy()
    np.testing.assert_allclose(np.sort(moved), np.sort(levels) * 1.1, rtol=1e-12)


def test_a_new_method_across_captures_makes_a_review_stale(
    catalogue: Catalogue, circuits: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    taken_in(catalogue, circuits / "push_pull_taps")
    raised = dict(incremental.derivation_versions(), source_impedance=99)
    monkeypatch.setattr(incremental, "derivation_versions", lambda: raised)
    (outcome,), _ = catalogue.recompute(history=False, processes=1)
    assert (outcome.computed, outcome.kept, outcome.unchanged) == (0, 5, False)
    (outcome,), _ = catalogue.recompute(history=False, processes=1)
    assert outcome.unchanged


def test_every_reading_leads_back_to_bytes_in_the_vault(measured: Catalogue) -> None:
    chain = measured.frame(
        "SELECT reading_key, list(sha256) AS originals, any_value(packages_json) AS packages "
        "FROM reading JOIN analysis USING (analysis_key, review_key) "
        "JOIN environment USING (environment_key) "
        "JOIN analysis_capture USING (analysis_key, review_key) GROUP BY reading_key"
    )
    assert chain.height == measured.readings()["reading_key"].n_unique()
    assert chain.height == measured.readings().height
    for originals in chain["originals"].to_list():
        assert all(measured.places.vault.path(sha256).is_file() for sha256 in originals)


@pytest.mark.parametrize(
    ("input_range", "warnings"), [("20 V", 1), ("8 V", 0)], ids=["of the captures", "another"]
)
def test_a_calibration_past_its_time_is_warned_of(
    catalogue: Catalogue, circuits: Path, input_range: str, warnings: int
) -> None:
    path = catalogue.places.root / "backbench.toml"
    old = f'range = "{input_range}"'
    path.write_text(path.read_text().replace(old, f"good_until = 2026-01-31\n{old}"))
    words = ["ingest", str(circuits / "single_ended_stage"), "--direct", "--processes", "1",
             "-c", str(catalogue.places.root)]  # fmt: skip
    ran = CliRunner().invoke(app, words)
    assert ran.exit_code == 0, ran.output
    lines = [line for line in ran.stderr.splitlines() if line.startswith("warning: ")]
    assert len(lines) == warnings
    assert all("single-ended-stage" in line and "good until 2026-01-31" in line for line in lines)
    assert "warning" not in ran.stdout
