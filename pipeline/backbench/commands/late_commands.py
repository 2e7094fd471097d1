"""Commands whose options are worked out when they are needed, and no sooner.

Each run of the program uses one command: working out the options of all others, and loading what
checks numbers and choices for a command line without any, would take longer than most commands.
"""

from __future__ import annotations

from functools import cached_property, partial
from typing import Any

from typer.core import TyperCommand
from typer.main import get_command_from_info
from typer.models import CommandInfo

from backbench.commands.plain_values import read_plainly
from backbench.commands.quantity_options import AllAtOnce


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
        return whole  # type: ignore[no-any-return]

    def get_params(self, ctx: Any) -> list[Any]:
        """Its options and arguments, and the option for its help."""
        return read_plainly(super().get_params(ctx))

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
