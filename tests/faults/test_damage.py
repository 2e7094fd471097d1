"""Damage found and named; a backup kept, opened, and what was lost brought back from it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.commands.common import PARTLY_DONE
from backbench.errors import UserError
from backbench.maintenance.backup import backup, restore
from backbench.maintenance.verify import Report, verify
from backbench.publish.site import publish
from backbench.storage import database
from faults.small_catalogue import set_calibration, small_catalogue, write_review
from old_records import MAP, messy, write_csv
from simulated import contents_of


def nothing(_: int) -> None:
    pass


def verified(root: Path) -> Report:
    return verify(Catalogue(root).places, nothing)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A catalogue of two reviews. Not to be changed."""
    return taken_in(tmp_path_factory.mktemp("whole"), "auk", "brant")


def taken_in(folder: Path, *names: str) -> Path:
    """A new catalogue of reviews of these names."""
    catalogue = small_catalogue(folder / "catalogue")
    for name in names:
        write_review(folder / name, 0)
    reviews = [folder / name for name in names]
    _, refused = catalogue.ingest(reviews, history=False, processes=1)
    assert not refused
    return catalogue.places.root


@pytest.fixture
def root(whole: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(whole, tmp_path / "catalogue"))


def original(root: Path, review: str, name: str) -> Path:
    places = Catalogue(root).places
    receipt = places.ledger.newest()[review]
    sha256 = receipt.manifest if name == "review.toml" else receipt.files[name].sha256
    assert sha256
    return places.vault.path(sha256)


def one_bit(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.chmod(0o644)
    path.write_bytes(data)


def cut_short(path: Path) -> None:
    path.chmod(0o644)
    path.write_bytes(path.read_bytes()[:-1])


Damage = Callable[[Path], None]
DAMAGES = [Path.unlink, one_bit, cut_short]


def test_a_sound_catalogue_has_no_faults(root: Path) -> None:
    report = verified(root)
    assert (report.originals, report.receipts) == (5, 2)
    assert report.readings > 50
    assert (report.faults, report.gaps, report.orphans) == ([], [], [])


DAMAGED = dict(zip(("auk", "brant", "crake"), DAMAGES, strict=True))
"""Reviews whose recording is damaged, each in its own way; the one of "dunlin" stays sound."""


@pytest.fixture(scope="module")
def four(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A catalogue of those four reviews. Not to be changed."""
    return taken_in(tmp_path_factory.mktemp("four"), *DAMAGED, "dunlin")


@pytest.fixture
def to_be_damaged(four: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(four, tmp_path / "catalogue"))


def damaged(root: Path) -> list[Path]:
    """Damage them all; the originals, in the order of their reviews."""
    victims = [original(root, review, "tone.wav") for review in DAMAGED]
    for victim, damage in zip(victims, DAMAGED.values(), strict=True):
        damage(victim)
    return victims


def test_a_damaged_original_is_named_and_fails_alone(to_be_damaged: Path) -> None:
    root = to_be_damaged
    victims = damaged(root)
    told = [str(fault) for fault in verified(root).faults]
    assert [any(victim.name in one for one in told) for victim in victims] == [True] * 3
    catalogue = Catalogue(root)
    set_calibration(catalogue, 12.0)
    outcomes, refused = catalogue.recompute(history=False, processes=1)
    assert not refused
    failed = {outcome.review: outcome.failed for outcome in outcomes}
    assert failed["dunlin"] == ()
    for review in DAMAGED:
        ((file, reason),) = failed[review]
        assert file == "tone.wav"
        assert "restore it from a backup" in reason
    kept = catalogue.readings()["review_key"].unique().sort().to_list()
    assert kept == [*DAMAGED, "dunlin"]


def test_a_damaged_original_comes_back_from_a_backup(to_be_damaged: Path, tmp_path: Path) -> None:
    root = to_be_damaged
    backup(Catalogue(root).places, tmp_path / "backup", nothing)
    before = contents_of(root)
    damaged(root)
    catalogue = Catalogue(root)
    set_calibration(catalogue, 12.0)
    catalogue.recompute(history=False, processes=1)
    again = backup(catalogue.places, tmp_path / "backup", nothing)
    assert (again.copied, again.faults) == (0, [])
    copied = restore(Catalogue(tmp_path / "backup").places, root, nothing)
    assert (copied.copied, copied.faults) == (3, [])
    set_calibration(catalogue, 10.0)
    outcomes, _ = catalogue.recompute(history=False, processes=1)
    assert [outcome.failed for outcome in outcomes] == [()] * 4
    assert verified(root).faults == []
    assert contents_of(root) == before


def test_an_ingest_beside_a_damaged_original_takes_in_the_rest(
    to_be_damaged: Path, tmp_path: Path
) -> None:
    """A file that comes again mends one that is missing, cut short or changed."""
    root = to_be_damaged
    damaged(root)
    catalogue = Catalogue(root)
    set_calibration(catalogue, 12.0)
    again = [*DAMAGED, "egret"]
    for name in again:
        write_review(tmp_path / name, 0)
    outcomes, refused = catalogue.ingest(
        [tmp_path / name for name in again], history=False, processes=1
    )
    assert {outcome.review: outcome.failed for outcome in outcomes} == dict.fromkeys(again, ())
    assert refused == []
    assert verified(root).faults == []


@pytest.mark.usefixtures("few_questions")
@pytest.mark.parametrize(
    ("name", "damage"),
    [("tone.wav", Path.unlink), ("tone.wav", one_bit), ("review.toml", cut_short)],
)
def test_damaged_originals_cost_neither_a_site_nor_a_backup_of_the_rest(
    root: Path, tmp_path: Path, name: str, damage: Damage
) -> None:
    victim = original(root, "auk", name)
    damage(victim)
    done = publish(root, tmp_path / "site")
    assert {"sheets/auk.html", "sheets/brant.html", "index.html"} <= set(done.written)
    assert len(done.troubles) == (name == "review.toml")
    assert all(victim.name in trouble for trouble in done.troubles)
    copied = backup(Catalogue(root).places, tmp_path / "backup", nothing)
    assert copied.copied == 4
    (fault,) = copied.faults
    assert victim.name in str(fault)
    assert victim.name in " ".join(map(str, verified(tmp_path / "backup").faults))


def test_a_failure_for_want_of_an_original_is_tried_again(root: Path, tmp_path: Path) -> None:
    victim = original(root, "auk", "tone.wav")
    aside = victim.rename(tmp_path / "aside")
    catalogue = Catalogue(root)
    set_calibration(catalogue, 12.0)
    catalogue.recompute(history=False, processes=1)
    aside.rename(victim)
    outcomes, _ = catalogue.recompute(history=False, processes=1)
    assert {o.review: (o.computed, o.failed) for o in outcomes} == {
        "auk": (1, ()),
        "brant": (0, ()),
    }
    assert verified(root).faults == []


def test_a_damaged_manifest_costs_its_review_alone(root: Path) -> None:
    one_bit(original(root, "auk", "review.toml"))
    outcomes, (refused,) = Catalogue(root).recompute(history=False, processes=1)
    assert [outcome.review for outcome in outcomes] == ["brant"]
    assert "damaged" in str(refused.error)


def test_a_rebuild_with_a_damaged_manifest_keeps_the_old_database(root: Path) -> None:
    before = contents_of(root)
    original(root, "auk", "review.toml").unlink()
    outcomes, refused = Catalogue(root).rebuild(processes=1)
    assert (outcomes, len(refused)) == ([], 1)
    assert contents_of(root) == before


def test_a_rebuild_without_an_original_keeps_the_old_database_and_names_the_capture(
    root: Path,
) -> None:
    before = contents_of(root)
    original(root, "auk", "tone.wav").unlink()
    command = ["rebuild", "-c", str(root), "--processes", "1"]
    ran = CliRunner().invoke(app, command)
    assert ran.exit_code == 3
    assert "auk: tone.wav: " in ran.output
    assert "--accept-losses" in ran.output
    assert contents_of(root) == before
    ran = CliRunner().invoke(app, [*command, "--accept-losses"])
    assert ran.exit_code == 3
    assert len(Catalogue(root).readings()) < len(before["reading"])


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_receipt_is_named(root: Path, damage: Damage) -> None:
    receipt = root / "ledger" / "000001.json"
    receipt.chmod(0o644)
    if damage is one_bit:
        receipt.write_bytes(b"\x80" + receipt.read_bytes())
    else:
        damage(receipt)
        if damage is cut_short:
            cut_short(receipt)
    assert "000001.json" in " ".join(map(str, verified(root).faults))


def test_a_damaged_database_is_reported_in_words_and_rebuilt(root: Path) -> None:
    before = contents_of(root)
    path = root / database.DATABASE_NAME
    path.write_bytes(path.read_bytes()[:5000])
    with pytest.raises(UserError, match="can't be"):
        Catalogue(root).reviews()
    assert any(database.DATABASE_NAME in str(fault) for fault in verified(root).faults)
    Catalogue(root).rebuild(processes=1)
    assert contents_of(root) == before


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ("INSERT INTO reading FROM reading LIMIT 1", "more than once"),
        ("DELETE FROM analysis", "without its analysis"),
        ("DELETE FROM analysis_capture", "leads to no original"),
        ("UPDATE analysis_capture SET sha256 = repeat('a', 64)", "a file that a receipt names"),
        ("UPDATE review SET receipt = 77", "a receipt of the ledger"),
        ("DELETE FROM appearance", "review without units"),
        ("DELETE FROM environment", "versions"),
    ],
)
def test_rows_that_contradict_each_other_are_found(root: Path, change: str, message: str) -> None:
    with database.writing(root) as opened:
        opened.run(change)
    assert message in " ".join(map(str, verified(root).faults))


@pytest.fixture(scope="module")
def typed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A catalogue of figures from a spreadsheet alone. Not to be changed."""
    folder = tmp_path_factory.mktemp("typed")
    write_csv(folder / "old.csv", messy(12))
    (folder / "map.toml").write_text(MAP)
    Catalogue.create(folder / "catalogue", 'title = "Old records"\n')
    words = ["old.csv", "--map", "map.toml", "-c", "catalogue"]
    there = [str(folder / word) if "." in word or word == "catalogue" else word for word in words]
    assert CliRunner().invoke(app, ["backfill", *there, "--yes"]).exit_code in {0, PARTLY_DONE}
    return folder / "catalogue"


def test_figures_from_a_spreadsheet_lead_to_it(typed: Path) -> None:
    report = verified(typed)
    assert report.readings > 20
    assert (report.faults, report.gaps, report.orphans) == ([], [], [])


def test_a_figure_under_another_spelling_of_its_metric_is_sound(tmp_path: Path) -> None:
    catalogue = small_catalogue(tmp_path / "catalogue")
    write_review(tmp_path / "auk", 0)
    manifest = tmp_path / "auk" / "review.toml"
    manifest.write_text(
        manifest.read_text() + '[[entered]]\nmetric = "THD+N"\nunit = "unit-of-auk"\n'
        'output = "out"\nvalue = "1 %"\norigin = "page 1"\n'
    )
    _, refused = catalogue.ingest([tmp_path / "auk"], history=False, processes=1)
    assert (refused, verified(tmp_path / "catalogue").faults) == ([], [])


@pytest.mark.parametrize("name", ["old.csv", "map.toml"])
@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_spreadsheet_is_named(
    typed: Path, tmp_path: Path, name: str, damage: Damage
) -> None:
    root = Path(shutil.copytree(typed, tmp_path / "catalogue"))
    victim = original(root, next(iter(Catalogue(root).places.ledger.newest())), name)
    damage(victim)
    assert victim.name in " ".join(map(str, verified(root).faults))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ("DELETE FROM entered", "without where it was written"),
        ("DELETE FROM reading", "without its reading"),
        ("INSERT INTO entered FROM entered LIMIT 1", "more than once"),
        ("UPDATE entered SET written = '9 %' WHERE rowid = 0", "other figures than were entered"),
        ("UPDATE entered SET origin = 'elsewhere' WHERE rowid = 0", "other figures"),
        ("UPDATE analysis_capture SET sha256 = repeat('a', 64)", "a file that a receipt names"),
    ],
)
def test_entered_readings_that_lead_nowhere_are_found(
    typed: Path, tmp_path: Path, change: str, message: str
) -> None:
    root = Path(shutil.copytree(typed, tmp_path / "catalogue"))
    with database.writing(root) as opened:
        opened.run(change)
    assert message in " ".join(map(str, verified(root).faults))


def test_a_receipt_not_loaded_is_a_gap_and_unnamed_bytes_an_orphan(root: Path) -> None:
    with database.writing(root) as opened:
        for table in ("review", "appearance", "capture", "reading", "curve", "analysis",
                      "analysis_capture", "reading_point", "value_at_point",
                      "published"):  # fmt: skip
            opened.run(f"DELETE FROM {table} WHERE review_key = 'auk'")
    unnamed = Catalogue(root).places.vault.put_bytes(b"of no review")
    report = verified(root)
    assert (len(report.faults), len(report.gaps), report.orphans) == (0, 1, [unnamed])
    Catalogue(root).recompute(history=False, processes=1)
    assert verified(root).gaps == []


def test_a_backup_is_incremental_opens_and_restores_equal(root: Path, tmp_path: Path) -> None:
    (root / "queries" / "mine.sql").write_text("-- not looked at here")
    places, kept = Catalogue(root).places, tmp_path / "backup"
    assert (backup(places, kept, nothing).copied, backup(places, kept, nothing).held) == (5, 5)
    write_review(tmp_path / "crake", 0)
    Catalogue(root).ingest([tmp_path / "crake"], history=False, processes=1)
    assert backup(places, kept, nothing).copied == 2
    assert contents_of(kept) == contents_of(root)
    restore(Catalogue(kept).places, tmp_path / "new", nothing)
    assert contents_of(tmp_path / "new") == contents_of(root)
    assert (tmp_path / "new" / "queries" / "mine.sql").exists()
    assert verified(tmp_path / "new").faults == []
    Catalogue(tmp_path / "new").rebuild(processes=1)
    assert contents_of(tmp_path / "new") == contents_of(root)


def test_a_damaged_backup_is_mended_by_the_next(root: Path, tmp_path: Path) -> None:
    places, kept = Catalogue(root).places, tmp_path / "backup"
    backup(places, kept, nothing)
    one_bit(original(kept, "auk", "tone.wav"))
    assert backup(places, kept, nothing).copied == 1
    assert verified(kept).faults == []


@pytest.mark.parametrize("kind", ["inside", "same", "stranger", "other catalogue"])
def test_a_backup_never_covers_something_else(root: Path, tmp_path: Path, kind: str) -> None:
    places = Catalogue(root).places
    target = {"inside": root / "backup", "same": root}.get(kind, tmp_path / "target")
    if kind == "stranger":
        target.mkdir()
        (target / "letter.txt").write_text("dear")
    if kind == "other catalogue":
        other = small_catalogue(tmp_path / "other")
        write_review(tmp_path / "crake", 0)
        other.ingest([tmp_path / "crake"], history=False, processes=1)
        backup(other.places, target, nothing)
    with pytest.raises(UserError):
        backup(places, target, nothing)
    assert verified(root).faults == []


def test_a_newer_database_is_refused_with_words(root: Path) -> None:
    with database.writing(root) as opened:
        opened.run("INSERT INTO migration VALUES (9999, '9999_later.sql', 'unknown')")
    with pytest.raises(UserError, match="another version") as caught:
        Catalogue(root).reviews()
    assert "9999" in str(caught.value)


def test_an_older_database_is_refused_until_a_writer_brings_it_up(root: Path) -> None:
    with database.writing(root) as opened:
        opened.run("DELETE FROM migration WHERE number = (SELECT max(number) FROM migration)")
    with pytest.raises(UserError, match="older version"):
        Catalogue(root).reviews()


@pytest.mark.usefixtures("few_questions")
def test_a_faulty_query_is_named_by_every_run_and_on_the_site(root: Path, tmp_path: Path) -> None:
    (root / "queries").mkdir(exist_ok=True)
    (root / "queries" / "broken.sql").write_text("SELECT 1", encoding="utf-8")
    for _ in range(2):
        done = publish(root, tmp_path / "site")
        assert not done.nothing_new
        (trouble,) = done.troubles
        assert "query broken is left out" in trouble
    page = (tmp_path / "site" / "questions.html").read_text(encoding="utf-8")
    assert "Query broken is left out" in page
