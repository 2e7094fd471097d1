"""What would act elsewhere: formulas in exports, controls in names, pickles, links, devices."""

from __future__ import annotations

import ast
import io
import os
from pathlib import Path

import polars as pl
import pytest

from backbench.catalogue import Catalogue
from backbench.reports.export_formats import export
from faults.small_catalogue import small_catalogue, write_review
from source_trees import nodes, nodes_of

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
    escaped = "".join(f"\\u{ord(c):04x}" if ord(c) < 32 else c for c in name)
    path.write_text(path.read_text().replace('"tone.wav"', f'"{escaped}"'))
    (outcome,), refused = catalogue.ingest([tmp_path / "auk"], history=False, processes=1)
    assert not refused
    (entry,) = outcome.ended.in_state("refused")
    assert entry.file.isprintable()
    assert str(entry.reason).isprintable()
    assert "tone.wav" not in catalogue.captures()["file"].to_list()


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


UNPICKLERS = {
    "pickle", "cloudpickle", "dill", "joblib", "marshal", "shelve", "torch", "_pickle",
}  # fmt: skip
NEVER_CALLED = {"eval", "exec", "os.system", "np.load", "numpy.load", "yaml.load"}
NEVER_NAMED = {
    "read_pickle", "to_pickle", "deserialize", "allow_pickle", "persist_result",
    "result_storage", "result_serializer", "cache_key_fn",
}  # fmt: skip
"""Names that lead to a pickle on the disk; `persist_result=False` alone may be said."""


def hostile(tree: tuple[ast.AST, ...]) -> list[str]:
    """What a module names that would unpickle or execute what a file holds."""
    result: list[str] = []
    for node in tree:
        if isinstance(node, ast.Import | ast.ImportFrom):
            names = [alias.name for alias in node.names]
            module = getattr(node, "module", None)
            roots = {name.partition(".")[0] for name in ([module] if module else names)}
            result += [*(roots & UNPICKLERS), *(set(names) & NEVER_NAMED)]
            result += [f"{module}.load"] if module in {"numpy", "yaml"} and "load" in names else []
        elif isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            result += [called] if called in NEVER_CALLED else []
        elif isinstance(node, ast.Attribute):
            result += [node.attr] if node.attr in NEVER_NAMED else []
        elif isinstance(node, ast.keyword):
            value = ast.unparse(node.value)
            never = node.arg in NEVER_NAMED or (node.arg, value) == ("shell", "True")
            result += [f"{node.arg}={value}"] if never and value != "False" else []
    return result


def test_nothing_is_unpickled_or_executed() -> None:
    """Worker processes exchange pickles over their own connections, never over a file."""
    for path in sorted(PACKAGE.rglob("*.py")):
        assert hostile(nodes(path)) == [], path


@pytest.mark.parametrize(
    "source",
    [
        "import pickle", "from joblib import load", "import numpy as np\nnp.load(p)",
        "from numpy import load", "f(p, allow_pickle=True)", "polars.DataFrame.deserialize(p)",
        "pd.read_pickle(p)", "@task(persist_result=True)\ndef f(): ...", "eval(text)",
        "subprocess.run(x, shell=True)",
    ],
)  # fmt: skip
def test_what_unpickles_or_executes_is_noticed(source: str) -> None:
    assert hostile(nodes_of(source))
