"""A file that isn't there by its name: which one was likely meant."""

from __future__ import annotations

from pathlib import Path

import pytest

from backbench.ingest.receive import received_file
from backbench.storage.vault import Vault


@pytest.mark.parametrize(
    ("name", "likely"), [("takes\\tone.wav", "takes/tone.wav"), ("idel.wav", "idle.wav")]
)
def test_the_likely_file_is_named(tmp_path: Path, name: str, likely: str) -> None:
    home = (tmp_path / "review").resolve()
    (home / "takes").mkdir(parents=True)
    for file in ("takes/tone.wav", "idle.wav"):
        (home / file).write_bytes(b"RIFF")
    received = received_file(home, name, Vault(tmp_path / "vault"), [name])
    assert received.reason == f"no such file; did you mean {likely}?"


def test_no_file_outside_the_folder_is_named(tmp_path: Path) -> None:
    home = (tmp_path / "review").resolve()
    home.mkdir()
    (tmp_path / "idle.wav").write_bytes(b"RIFF")
    received = received_file(home, "..\\idle.wav", Vault(tmp_path / "vault"), [])
    assert received.reason == "no such file"


@pytest.mark.parametrize("kind", ["link out", "link in", "folder", "plain"])
def test_what_stands_in_the_folder_under_a_name(tmp_path: Path, kind: str) -> None:
    home = (tmp_path / "review").resolve()
    home.mkdir()
    (tmp_path / "other.wav").write_bytes(b"RIFF")
    (home / "own.wav").write_bytes(b"RIFF")
    named = home / "idle.wav"
    if kind == "link out":
        named.symlink_to(tmp_path / "other.wav")
    elif kind == "link in":
        named.symlink_to(home / "own.wav")
    elif kind == "folder":
        named.mkdir()
    else:
        named.write_bytes(b"RIFF")
    received = received_file(home, "idle.wav", Vault(tmp_path / "vault"), [])
    reasons = {
        "link out": "it leads out of the review's folder", "folder": "not a regular file",
    }  # fmt: skip
    assert received.reason == reasons.get(kind)
    assert (received.sha256 is None) == (kind in reasons)
