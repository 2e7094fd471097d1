"""Commands whose options are worked out when they are needed, and no sooner.

Each run of the program uses one command: working out the options of all others, and loading what
checks numbers and choices for a command line without any, would take longer than most commands.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property, partial
from pathlib import Path
from typing import Any

from typer.core import TyperCommand
from typer.main import get_command_from_info
from typer.models import CommandInfo

from backbench.commands.quantity_options import AllAtOnce

AS_TYPED: dict[Any, tuple[type, bool]] = {
    str: (str, False), Path: (Path, False), list[str]: (str, True), list[Path]: (Path, True),
}  # fmt: skip
"""Kinds of parameter that take any text: what it becomes, and whether there may be several."""


class LateCommand(AllAtOnce):
    """A command with a name and a help, whose options and function are asked for later."""

    def __init__(self, info: CommandInfo, **given: Any) -> None:
        self._info = info
        super().__init__(**given)

    @cached_property
    def _whole(self) -> TyperCommand:
        """The command as it is declared."""
        whole: Any = get_command_from_info(
            self._info, pretty_exceptions_short=False, rich_markup_mode=None
        )
        for parameter in whole.params:
            _read_plainly(parameter)
        return whole  # type: ignore[no-any-return]

    @property
    def params(self) -> list[Any]:
        return self._whole.params

    @params.setter
    def params(self, given: object) -> None:
        """Those of the declaration count."""

    @property
    def callback(self) -> Any:
        return self._whole.callback

    @callback.setter
    def callback(self, given: object) -> None:
        """That of the declaration counts."""


def late(info: CommandInfo) -> CommandInfo:
    """A command as typer registers it, with nothing for it to look into."""
    function: Any = info.callback

    def named() -> None:
        """Never called: a LateCommand runs what was declared."""

    named.__name__, named.__doc__ = function.__name__, function.__doc__
    named.__module__ = function.__module__
    cls: Any = partial(LateCommand, info)
    return CommandInfo(**{**vars(info), "callback": named, "cls": cls})


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


def _read_plainly(parameter: Any) -> None:
    """Have a parameter read without typer's checks where it has none.

    Whether it has any is known to a typer that has descriptors of types; another one keeps its way.
    """
    descriptor = getattr(parameter, "type_descriptor", None)
    if descriptor is None:
        return
    declared = descriptor.parameter_info
    checks = (
        declared.parser, declared.exists, declared.resolve_path, declared.path_type,
        declared.allow_dash, declared.writable,
        not (declared.file_okay and declared.dir_okay),
    )  # fmt: skip
    kind = None if any(checks) else descriptor.annotation
    parameter.get_runtime_param = partial(_Plainly, parameter.get_runtime_param, kind)
