"""The parsed modules of the package: each is parsed once, whatever number of tests read it."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path


@cache
def nodes(path: Path) -> tuple[ast.AST, ...]:
    """Every node of a module."""
    return nodes_of(path.read_text())


def nodes_of(source: str) -> tuple[ast.AST, ...]:
    """Every node of a piece of code."""
    return tuple(ast.walk(ast.parse(source)))
