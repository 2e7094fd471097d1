"""Values written as TOML, for the files that the program writes for a person to read."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Mapping

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def inline(value: object) -> str:
    """One value as TOML text on one line; tables without their None entries.

    Raises TypeError for a value that TOML has no type for.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, (int, dt.date)):
        return value.isoformat() if isinstance(value, dt.date) else str(value)
    if isinstance(value, float):
        return number(value)
    if isinstance(value, Mapping):
        pairs = [f"{key_text(k)} = {inline(v)}" for k, v in value.items() if v is not None]
        return "{ " + ", ".join(pairs) + " }" if pairs else "{}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(inline(item) for item in value) + "]"
    raise TypeError(f"no TOML type for {type(value).__name__}")


def number(value: float) -> str:
    """A number that reads back equal: 8.0 is written 8, 0.42 stays 0.42."""
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)


def key_text(key: object) -> str:
    """A key, in quotes where TOML asks for them."""
    text = str(key)
    return text if _BARE.fullmatch(text) else json.dumps(text, ensure_ascii=False)


def lines_of(table: Mapping[str, object]) -> list[str]:
    """`key = value` lines of a table, without its None and empty entries."""
    return [
        f"{key_text(key)} = {inline(value)}"
        for key, value in table.items()
        if value is not None and value not in ([], {})
    ]
