"""Every write, flush and rename of what a catalogue keeps is a place where a test can break off."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from source_trees import nodes, nodes_of

PACKAGE = Path(__file__).parents[2] / "pipeline" / "backbench"
KEEPING = sorted(
    path
    for room in ("storage", "ingest", "maintenance", "orchestration", "publish")
    for path in (PACKAGE / room).glob("*.py")
    if path.name != "run_server.py"  # keeps run histories, which can be lost
)
WRITES = {
    "write_bytes", "write_text", "copyfileobj", "copyfile", "copytree", "link", "symlink_to",
    "fsync", "sync", "rename", "renames", "savez", "sink_parquet", "write_parquet",
}  # fmt: skip
POINTED = {"reached", "rename", "hash_stream"}
"""Names of a point, and functions that reach one at each write of their caller's."""
ELSEWHERE = {
    "parquet_bytes": "to memory",
    "rows_aside": "rows on the way to the database, in a folder of their own that is thrown away",
    "printed": "the page on the way to a browser, in a folder of its own that is thrown away",
    "made_by_script": "a frame for a browser, in a folder of its own that is thrown away",
    "changing": "who holds the lock, for a message; worth nothing after a stop",
}
"""Functions that write and need no point, and why."""


def writes(node: ast.AST) -> bool:
    if not isinstance(node, ast.Call):
        return False
    by_name = isinstance(node.func, ast.Name)
    name = node.func.attr if isinstance(node.func, ast.Attribute) else ast.unparse(node.func)
    if name in {"open", "fdopen"}:
        words = [value.value for value in ast.walk(node) if isinstance(value, ast.Constant)]
        return any(isinstance(word, str) and set(word) & set("wxa") and set(word) <= set("wxab+")
                   for word in words)  # fmt: skip
    if name == "replace":
        return isinstance(node.func, ast.Attribute) and len(node.args) == 1 and not node.keywords
    return name in WRITES and not by_name


def unpointed(tree: tuple[ast.AST, ...]) -> Iterator[str]:
    """Functions that write and name no point."""
    for function in tree:
        if isinstance(function, ast.FunctionDef):
            inside = list(ast.walk(function))
            named = any(
                isinstance(node, ast.Call) and ast.unparse(node.func) in POINTED for node in inside
            )
            if any(map(writes, inside)) and not named:
                yield function.name


@pytest.mark.parametrize("path", KEEPING, ids=lambda path: path.stem)
def test_what_writes_names_a_point(path: Path) -> None:
    assert set(unpointed(nodes(path))) <= ELSEWHERE.keys()


@pytest.mark.parametrize(
    "line",
    ["p.write_bytes(b'')", "p.open('wb')", "open(p, 'a')", "one.replace(other)", "os.fsync(n)"],
)
def test_a_write_without_a_point_is_noticed(line: str) -> None:
    assert list(unpointed(nodes_of(f"def f():\n    {line}"))) == ["f"]
    assert list(unpointed(nodes_of(f"def f():\n    reached('write')\n    {line}"))) == []
    assert list(unpointed(nodes_of("def f():\n    'a'.replace('b', 'c'); p.open('rb')"))) == []
