"""The parsed modules of the package: each is parsed once, whatever number of tests read it."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path


@cache
def nodes(path: Path) -> tuple[ast.AST, ...]:
    """Every node of a module."""
    return tuple(ast.walk(ast.parse(path.read_text())))
