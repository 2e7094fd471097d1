"""Values of a command line that need no check: texts and paths, as they are typed.

typer loads a library that checks values for every option, given or not.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

AS_TYPED: dict[Any, tuple[type, bool]] = {
    str: (str, False), Path: (Path, False), list[str]: (str, True), list[Path]: (Path, True),
}  # fmt: skip
"""Kinds of parameter that take any text: what it becomes, and whether there may be several."""


class _Plainly:
    """Reads a text or a path as it is typed, and leaves every other value to typer."""

    def __init__(self, usual: Callable[[], Any], kind: Any) -> None:
        self.usual, self.kind = usual, AS_TYPED.get(kind)

    def coerce(self, value: Any, param: Any, ctx: Any) -> Any:
        if value is None:
            return () if param.multiple or param.nargs == -1 else None
        if self.kind is not None:
            made, several = self.kind
            if several and isinstance(value, (list, tuple)) and all(map(_is_plain, value)):
                return [made(one) for one in value]
            if not several and _is_plain(value):
                return made(value)
        return self.usual().coerce(value, param=param, ctx=ctx)


def _is_plain(value: object) -> bool:
    """Whether it is a path, or a text that every file system and terminal can take."""
    return isinstance(value, Path) or (isinstance(value, str) and _is_encodable(value))


def _is_encodable(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def read_plainly(parameters: list[Any]) -> list[Any]:
    """The parameters, each read without typer's checks where it has none."""
    for parameter in parameters:
        _read_plainly(parameter)
    return parameters


def _read_plainly(parameter: Any) -> None:
    """A typer without descriptors of types, which tell what is checked, keeps its own way."""
    descriptor = getattr(parameter, "type_descriptor", None)
    if descriptor is None or "get_runtime_param" in vars(parameter):
        return
    declared = descriptor.parameter_info
    checks = (
        declared.parser, declared.exists, declared.resolve_path, declared.path_type,
        declared.allow_dash, declared.writable,
        not (declared.file_okay and declared.dir_okay),
    )  # fmt: skip
    kind = None if any(checks) else descriptor.annotation
    parameter.get_runtime_param = partial(_Plainly, parameter.get_runtime_param, kind)
