"""Only what changed is written; only what this program wrote is removed."""

from __future__ import annotations

import json
from pathlib import Path

from backbench.publish.output import RECORD, digest_of, read_record, settle, write


def test_equal_content_is_left_alone(tmp_path: Path) -> None:
    assert write(tmp_path, "a/b.html", b"one").changed
    before = (tmp_path / "a/b.html").stat().st_mtime_ns
    assert not write(tmp_path, "a/b.html", b"one").changed
    assert (tmp_path / "a/b.html").stat().st_mtime_ns == before
    assert write(tmp_path, "a/b.html", b"two").changed
    assert [p.name for p in (tmp_path / "a").iterdir()] == ["b.html"]


def test_pages_that_went_are_removed_and_nothing_else(tmp_path: Path) -> None:
    for name in ("old.html", "kept.html", "mine.txt"):
        write(tmp_path, name, b"x")
    settle(tmp_path, "1", ["old.html", "kept.html"])
    assert settle(tmp_path, "2", ["kept.html"]) == ["old.html"]
    assert sorted(p.name for p in tmp_path.iterdir()) == [RECORD, "kept.html", "mine.txt"]


def test_a_record_can_name_nothing_outside(tmp_path: Path) -> None:
    outside = tmp_path / "outside.txt"
    outside.write_text("x")
    folder = tmp_path / "site"
    write(folder, RECORD, json.dumps({"digest": "1", "paths": ["../outside.txt"]}).encode())
    assert settle(folder, "2", []) == []
    assert outside.exists()


def test_a_record_stands_while_its_files_do(tmp_path: Path) -> None:
    write(tmp_path, "a.html", b"x")
    settle(tmp_path, "1", ["a.html"])
    assert read_record(tmp_path).stands(tmp_path, "1")
    assert not read_record(tmp_path).stands(tmp_path, "2")
    (tmp_path / "a.html").unlink()
    assert not read_record(tmp_path).stands(tmp_path, "1")
    (tmp_path / RECORD).write_text("not a record")
    assert read_record(tmp_path).paths == ()


def test_the_digest_follows_content(tmp_path: Path) -> None:
    path = tmp_path / "in"
    path.write_bytes(b"a")
    first = digest_of([path])
    assert digest_of([path]) == first
    path.write_bytes(b"b")
    assert digest_of([path]) != first
