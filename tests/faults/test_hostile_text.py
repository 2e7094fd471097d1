"""What would act elsewhere: formulas in exports, controls in names, pickles, links, devices."""

from __future__ import annotations

import ast
import io
import os
from pathlib import Path

import polars as pl
import pytest

from backbench.catalogue import Catalogue
from backbench.terminal import export
from faults.small_catalogue import small_catalogue, write_review

PACKAGE = Path(__file__).parents[2] / "pipeline" / "backbench"


@pytest.mark.parametrize("text", ["=1+1", "+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1", '=cmd|"/C"!A0'])
def test_a_formula_is_exported_as_text(text: str) -> None:
    out = io.StringIO()
    frame = pl.DataFrame({"unit": [text, "plain", "a=b", None], "value": [-1.5, 2.0, -3.0, 0.0]})
    export(frame, "csv", stream=out)
    back = pl.read_csv(io.StringIO(out.getvalue()))
    assert back["unit"].to_list() == ["'" + text, "plain", "a=b", None]
    assert back["value"].to_list() == [-1.5, 2.0, -3.0, 0.0]


@pytest.mark.parametrize(
    "name",
    ["../tone.wav", "/etc/hostname", "a/../../tone.wav", "to\x1bne.wav", "to\nne.wav", ".."],
)
def test_a_name_that_leaves_the_folder_or_hides_is_refused(tmp_path: Path, name: str) -> None:
    catalogue = small_catalogue(tmp_path / "catalogue")
    write_review(tmp_path / "auk", 0)
    path = tmp_path / "auk" / "review.toml"
    told = "".join(f"\\u{ord(c):04x}" if ord(c) < 32 else c for c in name)
    path.write_text(path.read_text().replace('"tone.wav"', f'"{told}"'))
    outcomes, (refused,) = catalogue.ingest([tmp_path / "auk"], history=False, processes=1)
    assert not outcomes
    assert all(
        fault.where.isprintable() and str(fault).isprintable() for fault in refused.error.faults
    )


@pytest.mark.parametrize("kind", ["link out", "pipe", "device", "loop", "folder", "unreadable"])
def test_what_is_no_file_of_the_folder_fails_alone(tmp_path: Path, kind: str) -> None:
    catalogue = small_catalogue(tmp_path / "catalogue")
    write_review(tmp_path / "auk", 0)
    victim = tmp_path / "auk" / "tone.wav"
    victim.unlink()
    match kind:
        case "link out":
            victim.symlink_to("/etc/hostname")
        case "pipe":
            os.mkfifo(victim)
        case "device":
            victim.symlink_to("/dev/zero")
        case "loop":
            victim.symlink_to(victim)
        case "folder":
            victim.mkdir()
        case _:
            victim.symlink_to("/proc/self/mem")
    (outcome,), _ = catalogue.ingest([tmp_path / "auk"], history=False, processes=1)
    assert [file for file, _ in outcome.failed] == ["tone.wav"]
    assert Catalogue(catalogue.places.root).captures()["status"].to_list() == ["failed", "analysed"]


def test_nothing_is_unpickled_or_executed() -> None:
    """pickle, marshal, shelve, eval and exec are named nowhere, nor a loader that would unpickle.

    Worker processes exchange pickles over their own pipes, never over a file.
    """
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            names = {alias.name.split(".")[0] for alias in getattr(node, "names", [])
                     if isinstance(node, (ast.Import, ast.ImportFrom))}  # fmt: skip
            assert not names & {"pickle", "marshal", "shelve", "dill", "joblib"}, path
            if isinstance(node, ast.Call):
                called = ast.unparse(node.func)
                assert called not in {"eval", "exec", "np.load", "numpy.load", "os.system"}, path
                assert not any(
                    word.arg == "shell" and ast.unparse(word.value) == "True"
                    for word in node.keywords
                ), path
