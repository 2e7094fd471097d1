"""What is said of a command line that lacks what the command can't do without."""

from __future__ import annotations

import re
from typing import Any

LISTED = {
    "reviews": ("unit", "old", "into", "first", "second", "review", "bench"),
    "queries": ("name",),
}
"""By command that lists the keys or names of a catalogue: the arguments that take one of them."""
EXAMPLE = re.compile(r"Example: (backbench .*)")


def words_missing(ctx: Any) -> str:
    """Sentences: which arguments are missing, an example, and what lists the keys to choose from.

    ctx: of a command line that was read as far as the first argument that isn't there.
    """
    command = ctx.command
    missing = [
        p for p in command.params
        if p.param_type_name == "argument" and p.required and p.name not in ctx.params
    ]  # fmt: skip
    lacking = "; ".join(f"{_plain(p.name)} ({_lower(p.help)})" for p in missing)
    sentences = [
        f"`backbench {command.name}` can't do without {lacking}.",
        *(f"`backbench {lister}` lists what there is." for lister in _listers(missing)),
        *(f"For example: {line}" for line in EXAMPLE.findall(command.help or "")[:1]),
    ]
    return " ".join(sentences)


def _plain(name: str) -> str:
    return name.replace("_", " ")


def _lower(text: str) -> str:
    """A sentence as a part of another; a word of capitals at its beginning stays as it is."""
    whole = text.rstrip(".")
    begins = whole.split(" ")[0]
    return whole if len(begins) > 1 and begins.isupper() else whole[:1].lower() + whole[1:]


def _listers(missing: list[Any]) -> list[str]:
    names = {p.name for p in missing}
    return [lister for lister, arguments in LISTED.items() if names.intersection(arguments)]
