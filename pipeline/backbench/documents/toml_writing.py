"""TOML files written and added to; comments and layout that are there stay."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.items import AoT, Array, InlineTable, Item, Table

from backbench.errors import Fault, UserError


def item_of(value: object) -> Item:
    """One value on one line; tables without their None entries. Raises TypeError.

    A number reads back equal: 8.0 is written 8, 0.42 stays 0.42.
    """
    if value is None:
        raise TypeError("TOML has no type for an absent value")
    if isinstance(value, Mapping):
        table = tomlkit.inline_table()
        for key, entry in value.items():
            if entry is not None:
                table.append(str(key), item_of(entry))
        return table
    if isinstance(value, (list, tuple)):
        array = tomlkit.array()
        for entry in value:
            array.append(item_of(entry))
        return array
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return tomlkit.item(int(value))
    return tomlkit.item(value)


def table_of(entries: Mapping[str, object]) -> Table:
    """A table of one line an entry, without its None and empty entries."""
    table = tomlkit.table()
    for key, value in entries.items():
        if value is not None and value not in ([], {}):
            table.append(key, item_of(value))
    return table


def lines_of(entries: Mapping[str, object]) -> str:
    """The entries as `key = value` lines without a header."""
    return table_of(entries).as_string().strip()


def block(header: Sequence[str], table: Table, *, repeated: bool = False) -> str:
    """A table under its header [a.b], or [[a.b]] where it may be repeated."""
    content: Table | AoT = table
    if repeated:
        content = tomlkit.aot()
        content.append(table)
    document = tomlkit.document()
    parent: Any = document
    for part in header[:-1]:
        above = tomlkit.table(is_super_table=True)
        parent.append(part, above)
        parent = above
    parent.append(header[-1], content)
    return document.as_string().strip()


def with_tables(
    text: str, header: Sequence[str], added: Sequence[Mapping[str, object]], name: str
) -> str:
    """The text of a file with more tables at the end of its list of tables [[a.b]].

    name: of the file, for a fault. Raises UserError where the file's layout takes no table there.
    """
    document = tomlkit.parse(text if text.endswith("\n") else text + "\n")
    parent: Any = document
    for part in header[:-1]:
        parent = parent.setdefault(part, tomlkit.table(is_super_table=True))
    last = header[-1]
    present = parent.get(last)
    expected = tomllib.loads(text)
    _list_in(expected, header).extend(tomllib.loads(lines_of(one)) for one in added)
    if isinstance(present, Array) or isinstance(parent, InlineTable):
        entries = parent.setdefault(last, tomlkit.array())
        entries.extend(item_of(one) for one in added)
        return _as_expected(document.as_string(), expected, name)
    if present is None:
        parent.append(last, tomlkit.aot())
    for one in added:
        parent[last].append(table_of(one))
    blocks = [block(header, table_of(one), repeated=True) for one in added]
    written = _set_off(document.as_string(), blocks)
    return _as_expected(written, expected, name)


def with_key(text: str, table: str, key: str, value: object, *, remark: str, name: str) -> str:
    """The text of a file with one more key, the first of its table.

    remark: the comment above the table where it is new. Raises UserError as with_tables does.
    """
    expected = tomllib.loads(text)
    expected.setdefault(table, {})[key] = value
    document = tomlkit.parse(text)
    present = document.get(table)
    if isinstance(present, Table):
        document[table] = _with_first(present, key, item_of(value))
        written = document.as_string()
    elif present is None:
        new = f"# {remark}\n{block([table], table_of({key: value}))}\n"
        written = f"{text.rstrip()}\n\n{new}".lstrip("\n")
    else:
        present[key] = item_of(value)
        written = document.as_string()
    return _as_expected(written, expected, name)


def _with_first(present: Table, key: str, value: Item) -> Table:
    """The table with another first key: what stands at its end may belong to the next table."""
    table = tomlkit.table()
    table.trivia.comment = present.trivia.comment
    table.trivia.comment_ws = present.trivia.comment_ws
    table.append(key, value)
    for other, item in present.value.body:
        table.append(other, item)
    return table


def _list_in(content: dict[str, Any], header: Sequence[str]) -> list[Any]:
    for part in header[:-1]:
        content = content.setdefault(part, {})
    entries: list[Any] = content.setdefault(header[-1], [])
    return entries


def _set_off(text: str, blocks: Sequence[str]) -> str:
    """The text with blank lines about the added blocks."""
    joined = next((j for b in ("\n", "\n\n") if (j := b.join(blocks)) in text), None)
    if joined is None:
        return text
    before, _, after = text.rpartition(joined)
    parts = [before.strip("\n"), *blocks, after.strip("\n")]
    return "\n\n".join(part for part in parts if part.strip()) + "\n"


def _as_expected(written: str, expected: dict[str, Any], name: str) -> str:
    """The text, where it reads back as what was there with the addition."""
    try:
        same = tomllib.loads(written) == expected
    except tomllib.TOMLDecodeError:
        same = False
    if not same:
        fault = Fault(name, "a layout that an entry can't be added to", "tables under [headers]",
                      "add the entry by hand")  # fmt: skip
        raise UserError(f"{name} can't be added to", [fault])
    return written
