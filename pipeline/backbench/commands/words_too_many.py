"""What is said of words on a command line that the command has no place for."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from typing import Any

INSTEAD = {"compare": "To compare two units with each other, use: backbench pair {first_two}"}
"""By command: what a reader who gave more than it takes is likely to want."""
QUOTED = "A name that has spaces stands in quotation marks."


def words_too_many(ctx: Any, left: Sequence[str]) -> str:
    """Sentences: what the command takes, which words are too many, and what to do.

    ctx: of the command line as it was read. left: the words that are left when all arguments of
    the command are filled, one at least.
    """
    filled = [p.name for p in ctx.command.params if p.param_type_name == "argument"]
    names = " and ".join(name.replace("_", " ") for name in filled)
    takes = f"nothing but: {names}" if filled else "no argument"
    given = [*(str(ctx.params[name]) for name in filled), *left]
    too_many = f"{shlex.join(left)} {'is' if len(left) == 1 else 'are'} too many"
    instead = INSTEAD.get(ctx.command.name or "", QUOTED).format(first_two=shlex.join(given[:2]))
    return f"`backbench {ctx.command.name}` takes {takes}; {too_many}. {instead}"
