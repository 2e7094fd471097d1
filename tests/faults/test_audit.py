"""The audit of what is installed finds what is wrong with made-up distributions."""

from __future__ import annotations

import base64
import hashlib
from importlib.metadata import Distribution
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from faults import audit

ABOUT = "Metadata-Version: 2.4\nName: heron\nVersion: 1.5\n"


def made(folder: Path, about: str = "License-Expression: MIT\n", **files: str) -> Distribution:
    """A distribution of one module, with further files of its metadata."""
    (folder / "heron.py").write_text("x = 1\n")
    digest = base64.urlsafe_b64encode(hashlib.sha256(b"x = 1\n").digest()).decode().rstrip("=")
    home = folder / "heron-1.5.dist-info"
    home.mkdir()
    (home / "METADATA").write_text(ABOUT + about)
    (home / "RECORD").write_text(f"heron.py,sha256={digest},6\nheron-1.5.dist-info/RECORD,,\n")
    for name, text in files.items():
        (home / name.replace("_json", ".json")).write_text(text)
    return Distribution.at(home)


def test_a_sound_distribution_has_no_faults(tmp_path: Path) -> None:
    assert [*audit.faults_of(made(tmp_path))] == []


@pytest.mark.parametrize("change", ["x = 2\n", None])
def test_a_changed_or_missing_file_is_found(tmp_path: Path, change: str | None) -> None:
    held = made(tmp_path)
    (tmp_path / "heron.py").unlink()
    if change:
        (tmp_path / "heron.py").write_text(change)
    (fault,) = audit.faults_of(held)
    assert fault == f"heron: heron.py is {'not as it was installed' if change else 'missing'}"


@pytest.mark.parametrize(
    ("about", "message"),
    [
        ("", "licence not stated"),
        ("License: Proprietary\n", "licence Proprietary"),
        ("License-Expression: AGPL-3.0-only\n", "licence AGPL-3.0-only"),
        ("Classifier: License :: OSI Approved :: BSD License\n", None),
        ("License: GPL-2.0 OR Artistic-1.0\n", None),
    ],
)
def test_a_licence_must_allow_passing_on(tmp_path: Path, about: str, message: str | None) -> None:
    assert [*audit.faults_of(made(tmp_path, about))] == ([f"heron: {message}"] if message else [])


def test_a_source_of_its_own_is_found(tmp_path: Path) -> None:
    held = made(tmp_path, direct_url_json='{"url": "file:///tmp/heron"}')
    assert [*audit.faults_of(held)] == [
        "heron was installed from file:///tmp/heron, not by its name"
    ]


def test_versions_and_imports_that_are_not_declared_are_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made(tmp_path, "Requires-Dist: egret>=2\nRequires-Dist: bittern; extra == 'marsh'\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    _, faults = audit.installed([Requirement("heron>=2")])
    assert faults == [
        "heron 1.5 is installed; backbench asks for heron>=2",
        "egret, which heron asks for, is not installed",
    ]
    _, faults = audit.installed([Requirement("heron[marsh]")])
    assert sorted(faults)[0] == "bittern, which heron asks for, is not installed"
    requested = {"": [Requirement("egret")], "test": [Requirement("numpy")]}
    assert [*audit.import_faults({"heron", "numpy"}, requested)] == [
        "heron is imported and not declared",
        "egret is declared and not imported",
    ]


def test_the_modules_that_a_package_imports_are_found(tmp_path: Path) -> None:
    (tmp_path / "one.py").write_text(
        "import os\nfrom backbench import store\n"
        "def f():\n    import heron.egret as h\n    from ibis.parts import wing\n"
    )
    assert audit.imported(tmp_path) == {"heron", "ibis"}


def pinned() -> set[tuple[str, str]]:
    """Names and versions in constraints.txt."""
    lines = (audit.ROOT / "constraints.txt").read_text().splitlines()
    pairs = [line.split("==") for line in lines if line and not line.startswith("#")]
    return {(canonicalize_name(name), version) for name, version in pairs}


def test_constraints_name_all_that_is_asked_for() -> None:
    requested = audit.declared(audit.ROOT)
    result, _ = audit.installed(one for use, group in requested.items() if use != "bench"
                               for one in group)  # fmt: skip
    assert result.keys() - {audit.OWN} <= {name for name, _ in pinned()}


def test_the_list_of_licences_holds_what_the_constraints_name() -> None:
    rows = [line.split(" | ") for line in audit.LIST.read_text().splitlines()[5:]]
    listed = {(row[0].removeprefix("| "), row[1]): row[2:] for row in rows}
    assert listed.keys() == pinned()
    unstated = [use for licence, use in listed.values() if licence == "not stated"]
    assert set(unstated) <= {"work on it |"}
