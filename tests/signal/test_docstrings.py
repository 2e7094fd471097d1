"""Every public function, class and method of signal/ describes what it takes and returns."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import backbench.signal

FOLDER = Path(backbench.signal.__file__).parent


def _parameters(function: ast.FunctionDef) -> list[str]:
    given = function.args
    names = [one.arg for one in (*given.posonlyargs, *given.args, *given.kwonlyargs)]
    return [name for name in names if name not in {"self", "cls"}]


def _sections(docstring: str) -> dict[str, list[str]]:
    """Lines of each section by its heading."""
    lines, result, heading = docstring.split("\n"), {}, ""
    for line, under in zip(lines, [*lines[1:], ""], strict=True):
        if line and set(under) == {"-"}:
            heading = line
        result.setdefault(heading, []).append(line)
    return result


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
    return [node for node in _public(ast.parse(text)) if _parameters(node)]


def _public(holder: ast.Module | ast.ClassDef) -> list[ast.FunctionDef]:
    return [
        node
        for node in holder.body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    ]


def _classes(text: str) -> list[ast.ClassDef]:
    return [
        node
        for node in ast.parse(text).body
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_")
    ]


def _fields(node: ast.ClassDef) -> list[str]:
    return [
        one.target.id
        for one in node.body
        if isinstance(one, ast.AnnAssign) and isinstance(one.target, ast.Name)
    ]


def _is_property(method: ast.FunctionDef) -> bool:
    return any("property" in ast.unparse(one) for one in method.decorator_list)


@pytest.mark.parametrize("name", sorted(p.stem for p in FOLDER.glob("*.py")))
def test_parameters_and_returns_are_described(name: str) -> None:
    lacking = {f.name: _missing(f) for f in _functions((FOLDER / f"{name}.py").read_text())}
    lacking = {function: what for function, what in lacking.items() if what}
    assert not lacking


@pytest.mark.parametrize("name", sorted(p.stem for p in FOLDER.glob("*.py")))
def test_a_class_describes_each_of_its_fields(name: str) -> None:
    for node in _classes((FOLDER / f"{name}.py").read_text()):
        assert _named(_sections(ast.get_docstring(node) or "")) == _fields(node), node.name


@pytest.mark.parametrize("name", sorted(p.stem for p in FOLDER.glob("*.py")))
def test_methods_describe_what_they_take_and_give(name: str) -> None:
    lacking = {
        f"{node.name}.{method.name}": what
        for node in _classes((FOLDER / f"{name}.py").read_text())
        for method in _public(node)
        if not _is_property(method) and (what := _missing(method))
    }
    assert not lacking


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
