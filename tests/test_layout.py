"""The shape of the house: what may import what, and what stands where."""

from __future__ import annotations

import ast
import graphlib
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from source_trees import nodes

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "pipeline" / "backbench"
FLOORS = [
    {"cli"},
    {"commands"},
    {"demo"},
    {"catalogue"},
    {"orchestration"},
    {"publish", "reports"},
    {"export"},
    {"charts"},
    {"bench_day", "backfill"},
    {"maintenance"},
    {"ingest"},
    {"comparison"},
    {"querying"},
    {"statistics"},
    {"test_points"},
    {"storage"},
    {"readers"},
    {"metrics"},
    {"documents"},
    {"signal"},
    {"quantities"},
    {"errors", "progress", "seed_dataset"},
]
LEVEL = {name: level for level, names in enumerate(FLOORS) for name in names}


def modules() -> list[Path]:
    return sorted(p for p in PACKAGE.rglob("*.py") if p.name != "__init__.py")


@cache
def imported(path: Path) -> set[str]:
    actual: set[str] = set()
    for node in nodes(path):
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
            if node.module == "backbench":
                names = [f"backbench.{alias.name}" for alias in node.names]
            actual.update(names)
        elif isinstance(node, ast.Import):
            actual.update(alias.name for alias in node.names)
    return actual


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_point_down(path: Path) -> None:
    own = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
    for name in imported(path):
        parts = name.split(".")
        if parts[0] == "backbench" and len(parts) > 1 and parts[1] not in {own, "__version__"}:
            assert LEVEL[own] <= LEVEL[parts[1]], f"{own} imports {name}"


@pytest.mark.parametrize(("library", "home"), [("prefect", "flows.py"), ("duckdb", "database.py")])
def test_a_library_is_known_in_one_place(library: str, home: str) -> None:
    everywhere = [*ROOT.glob("pipeline/**/*.py"), *ROOT.glob("tests/**/*.py"),
                  *ROOT.glob("seed_dataset/**/*.py")]  # fmt: skip
    users = [p.name for p in everywhere if any(n.split(".")[0] == library for n in imported(p))]
    assert users == [home]


def test_no_module_imports_itself_through_others() -> None:
    known = {_name(path): path for path in PACKAGE.rglob("*.py")}
    graph = {name: _modules_imported(path, known) - {name} for name, path in known.items()}
    tuple(graphlib.TopologicalSorter(graph).static_order())  # raises CycleError with the circle


def _name(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def _modules_imported(path: Path, known: dict[str, Path]) -> set[str]:
    result = set()
    for node in nodes(path):
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
            result |= {name if name in known else node.module for name in names}
        elif isinstance(node, ast.Import):
            result |= {alias.name for alias in node.names}
    # The package itself only names its version and its face.
    return result & known.keys() - {"backbench"}


def test_the_map_names_every_room_in_the_order_of_the_floors() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text()
    rooms = re.findall(r"^  ([a-z_]+)(?:/|\.py) ", text, flags=re.MULTILINE)
    there = {p.stem for p in PACKAGE.iterdir() if p.suffix == ".py" or (p / "__init__.py").exists()}
    assert {*rooms, "progress"} == there - {"__init__"}
    levels = [LEVEL[room] for room in rooms]
    assert levels == sorted(levels)


def test_paths_in_the_developers_page_exist() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text()
    paths = re.findall(r"`((?:[a-z_]+/)+[a-z_]+\.py)`", text)
    assert paths
    roots = (PACKAGE, ROOT, ROOT / "tests" / "faults")
    assert [path for path in paths if not any((root / path).exists() for root in roots)] == []


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; from backbench.cli import app\n"
        "from typer.testing import CliRunner\n"
        "assert CliRunner().invoke(app, ['--help']).exit_code == 0\n"
        "heavy = {'prefect', 'altair', 'scipy', 'polars', 'duckdb', 'numpy', 'pydantic'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"


def test_files_stay_short() -> None:
    long = {p.name: n for p in modules() if (n := len(p.read_text().splitlines())) > 400}
    assert not long


# Functions whose number of arguments is open.
OPEN_NUMBER = {"attrgetter", "digest", "pack"}


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_calls_of_many_arguments_name_them(path: Path) -> None:
    calls = [n for n in nodes(path) if isinstance(n, ast.Call)]
    many = [
        f"{path.name}:{call.lineno} {ast.unparse(call.func)}"
        for call in calls
        if len(call.args) > 6 and ast.unparse(call.func).split(".")[-1] not in OPEN_NUMBER
    ]
    assert many == []


def test_no_class_name_stands_for_two_ideas() -> None:
    places: dict[str, list[str]] = {}
    for path in modules():
        for node in nodes(path):
            if isinstance(node, ast.ClassDef):
                places.setdefault(node.name, []).append(str(path.relative_to(PACKAGE)))
    assert {name: files for name, files in places.items() if len(files) > 1} == {}
