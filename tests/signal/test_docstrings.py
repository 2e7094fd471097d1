"""Every public function of signal/ describes each of its parameters and what it returns."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import backbench.signal

FOLDER = Path(backbench.signal.__file__).parent


def _parameters(function: ast.FunctionDef) -> list[str]:
    given = function.args
    return [one.arg for one in (*given.posonlyargs, *given.args, *given.kwonlyargs)]


def _sections(docstring: str) -> dict[str, list[str]]:
    """Lines of each section by its heading."""
    lines, found, heading = docstring.split("\n"), {}, ""
    for line, under in zip(lines, [*lines[1:], ""], strict=True):
        if line and set(under) == {"-"}:
            heading = line
        found.setdefault(heading, []).append(line)
    return found


def _named(sections: dict[str, list[str]]) -> list[str]:
    return [
        name.strip()
        for line in sections.get("Parameters", [])
        if " : " in line and not line.startswith(" ")
        for name in line.split(" : ")[0].split(",")
    ]


def _missing(function: ast.FunctionDef) -> list[str]:
    sections = _sections(ast.get_docstring(function) or "")
    named = _named(sections)
    lacking = [name for name in _parameters(function) if name not in named]
    lacking += [f"{name}, which is no parameter" for name in named
                if name not in _parameters(function)]  # fmt: skip
    nothing = isinstance(function.returns, ast.Constant) and function.returns.value is None
    return lacking if nothing or "Returns" in sections else [*lacking, "Returns"]


def _functions(text: str) -> list[ast.FunctionDef]:
    return [
        node
        for node in ast.parse(text).body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_") and _parameters(node)
    ]


@pytest.mark.parametrize("name", sorted(p.stem for p in FOLDER.glob("*.py")))
def test_parameters_and_returns_are_described(name: str) -> None:
    lacking = {f.name: _missing(f) for f in _functions((FOLDER / f"{name}.py").read_text())}
    lacking = {function: what for function, what in lacking.items() if what}
    assert not lacking


@pytest.mark.parametrize("name", sorted(p.stem for p in FOLDER.glob("*.py")))
def test_a_class_that_describes_its_fields_describes_each(name: str) -> None:
    for node in ast.parse((FOLDER / f"{name}.py").read_text()).body:
        if not isinstance(node, ast.ClassDef):
            continue
        named = _named(_sections(ast.get_docstring(node) or ""))
        fields = [
            one.target.id
            for one in node.body
            if isinstance(one, ast.AnnAssign) and isinstance(one.target, ast.Name)
        ]
        assert not named or named == fields, node.name


def test_a_parameter_left_out_is_seen() -> None:
    text = '''
def f(a, b):
    """Sum.

    Parameters
    ----------
    a : float
        One.
    """
    return a + b
'''
    assert _missing(_functions(text)[0]) == ["b", "Returns"]
