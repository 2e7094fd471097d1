"""Only what changed is written; only what this program wrote is removed; a site changes whole."""

from __future__ import annotations

import errno
import json
import os
import shutil
from pathlib import Path

import pytest

from backbench.errors import UserError
from backbench.publish import atomic_publish
from backbench.publish.atomic_publish import replace_site, replacing_site
from backbench.publish.output_files import RECORD, digest_of, make, read_record, record_bytes, write


def test_equal_content_is_left_alone(tmp_path: Path) -> None:
    assert write(tmp_path, "a/b.html", b"one").changed
    before = (tmp_path / "a/b.html").stat().st_mtime_ns
    assert not write(tmp_path, "a/b.html", b"one").changed
    assert (tmp_path / "a/b.html").stat().st_mtime_ns == before
    assert write(tmp_path, "a/b.html", b"two").changed
    assert [p.name for p in (tmp_path / "a").iterdir()] == ["b.html"]


LOCKS = (".site.lock", ".site.lock.next")


def renewed(folder: Path, digest: str, *names: str) -> None:
    """A site of pages that hold their own names."""
    with replacing_site(folder) as aside:
        for name in names:
            make(aside, name, name.encode(), folder)
        make(aside, RECORD, record_bytes(digest, names), folder)
        replace_site(aside, folder, read_record(folder))


def files(folder: Path) -> list[str]:
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if not p.is_dir())


def test_pages_that_went_are_removed_and_nothing_else(tmp_path: Path) -> None:
    site = tmp_path / "site"
    renewed(site, "1", "old.html", "a/kept.html")
    (site / "a" / "mine.txt").write_text("mine")
    (site / "to-mine").symlink_to("a/mine.txt")
    before = (site / "a/kept.html").stat()
    renewed(site, "2", "a/kept.html")
    assert files(site) == [RECORD, "a/kept.html", "a/mine.txt", "to-mine"]
    assert (site / "a/kept.html").stat().st_ino == before.st_ino
    assert (site / "to-mine").is_symlink()
    assert (site / "to-mine").read_text() == "mine"
    assert sorted(p.name for p in tmp_path.iterdir()) == [*LOCKS, "site"]


def test_a_disk_without_links_gets_copies(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_link(*_: object, **__: object) -> None:
        raise OSError(errno.EPERM, "no links here")

    monkeypatch.setattr(os, "link", no_link)
    renewed(tmp_path / "site", "1", "a.html")
    (tmp_path / "site" / "mine.txt").write_text("mine")
    renewed(tmp_path / "site", "2", "a.html")
    assert files(tmp_path / "site") == [RECORD, "a.html", "mine.txt"]


def test_a_record_can_name_nothing_outside(tmp_path: Path) -> None:
    outside = tmp_path / "outside.txt"
    outside.write_text("x")
    site = tmp_path / "site"
    write(site, RECORD, json.dumps({"digest": "1", "paths": ["../outside.txt"]}).encode())
    renewed(site, "2")
    assert outside.exists()


@pytest.mark.parametrize("there", ["letter.txt", "backbench.toml"])
def test_a_folder_of_something_else_is_never_renamed(tmp_path: Path, there: str) -> None:
    (tmp_path / there).write_text("dear")
    with pytest.raises(UserError, match="can't be put here"):
        renewed(tmp_path, "1", "a.html")
    assert files(tmp_path) == [there]


@pytest.mark.parametrize("stopped", ["making", "second rename", "clearing"])
def test_a_site_that_was_not_put_in_place_is_mended(tmp_path: Path, stopped: str) -> None:
    site = tmp_path / "site"
    renewed(site, "1", "a.html")
    (tmp_path / ".site.new").mkdir()
    (tmp_path / ".site.new" / "half.html").touch()
    (tmp_path / ".site.copy").mkdir()
    (tmp_path / ".site.copy" / "catalogue.duckdb").touch()
    if stopped == "second rename":
        site.rename(tmp_path / ".site.earlier")
    if stopped == "clearing":
        shutil.copytree(site, tmp_path / ".site.earlier")
    with replacing_site(site):
        assert read_record(site).stands(site, "1")
        assert files(site) == [RECORD, "a.html"]
        assert sorted(p.name for p in tmp_path.iterdir()) == [
            ".site.lock",
            ".site.lock.next",
            "site",
        ]


def test_a_site_that_failed_leaves_the_earlier_one(tmp_path: Path) -> None:
    site = tmp_path / "site"
    renewed(site, "1", "a.html")
    with pytest.raises(NotADirectoryError):
        renewed(site, "2", "b.html", "b.html/c.html")
    assert files(tmp_path) == [*LOCKS, f"site/{RECORD}", "site/a.html"]


def test_one_process_at_a_time_makes_a_site(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(atomic_publish, "PATIENCE_S", 0.1)
    with replacing_site(tmp_path / "site"), pytest.raises(UserError, match="being made"):
        renewed(tmp_path / "site", "1", "a.html")


def test_a_record_stands_while_its_files_do(tmp_path: Path) -> None:
    renewed(tmp_path / "site", "1", "a.html")
    site = tmp_path / "site"
    assert read_record(site).stands(site, "1")
    assert not read_record(site).stands(site, "2")
    (site / "a.html").unlink()
    assert not read_record(site).stands(site, "1")
    (site / RECORD).write_text("not a record")
    assert read_record(site).paths == ()


def test_the_digest_follows_content(tmp_path: Path) -> None:
    path = tmp_path / "in"
    path.write_bytes(b"a")
    first = digest_of([path])
    assert digest_of([path]) == first
    path.write_bytes(b"b")
    assert digest_of([path]) != first
