"""Where a key of a TOML file may stand, as a reader looks for it: "in [conditions]"."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import takewhile
from typing import TYPE_CHECKING, Any, get_args, get_origin

if TYPE_CHECKING:
    from pydantic import BaseModel

NAMED = "NAME"
"""Stands in a path for a name that the user chose, as of a bench."""
MOST_PLACES = 3


@dataclass(frozen=True)
class KeyPlace:
    """A key in one of the tables of a document.

    table: names of the tables around it, from the outermost. lists: how many of these, from the
    outermost, are in a list ([[ ]]), with all around them. is_table: it stands for a table.
    """

    key: str
    table: tuple[str, ...]
    lists: int
    is_table: bool
    is_list: bool

    def allowed_at(self, location: Sequence[int | str]) -> bool:
        """Whether the table at a location of the document is the one that the key belongs in."""
        names = [part for part in location if isinstance(part, str)]
        return len(names) == len(self.table) and all(
            own in {NAMED, name} for own, name in zip(self.table, names, strict=True)
        )

    def __str__(self) -> str:
        if not self.is_table:
            return f"in {self._inside()}"
        if self.is_list or not self.lists:
            path = ".".join([*self.table, self.key])
            return f"as [[{path}]]" if self.is_list else f"as [{path}]"
        return f"as {self.key} = {{ }} in {self._inside()}"

    def _inside(self) -> str:
        if not self.table:
            return "the first lines, before any heading"
        listed, inner = ".".join(self.table[: self.lists]), self.table[self.lists :]
        if not self.lists:
            return f"[{'.'.join(inner)}]"
        return f"{'.'.join(inner)} = {{ }} of [[{listed}]]" if inner else f"[[{listed}]]"


@cache
def key_places(model: type[BaseModel]) -> tuple[KeyPlace, ...]:
    """Every key of a model and of the models inside it, the outer ones first."""
    found = _within(model, (), 0, (model,))
    return tuple(sorted(dict.fromkeys(found), key=lambda one: len(one.table)))


def _within(
    model: type[BaseModel], table: tuple[str, ...], lists: int, above: tuple[Any, ...]
) -> Iterator[KeyPlace]:
    for name, info in model.model_fields.items():
        key = info.alias or name
        # What a validator makes of a value may be named beside it, where the type can't.
        inner = [*_models(info.annotation), *(m for part in info.metadata for m in _models(part))]
        is_list = any(kind is list for _, kinds in inner for kind in kinds)
        yield KeyPlace(key, table, lists, bool(inner), is_list)
        for other, kinds in inner:
            path = (*table, key, *(NAMED for kind in kinds if kind is dict))
            if other not in above:
                inside = len(path) if list in kinds else lists
                yield from _within(other, path, inside, (*above, other))


def _models(annotation: Any, kinds: tuple[Any, ...] = ()) -> Iterator[tuple[Any, tuple[Any, ...]]]:
    """The models that an annotation names, and whether they are in a list or a dict."""
    if isinstance(annotation, type) and hasattr(annotation, "model_fields"):
        yield annotation, kinds
    origin = get_origin(annotation)
    for part in get_args(annotation):
        yield from _models(part, (*kinds, origin) if origin in (list, dict) else kinds)


def likely_place(
    key: str, value: object, location: Sequence[int | str], model: type[BaseModel]
) -> str:
    """Where a key that is unknown in the table at a location may stand; empty where nowhere."""
    held = value[:1] if isinstance(value, list) else [value]
    is_table = any(isinstance(one, dict) for one in held)
    known = [one for one in key_places(model) if one.key == key and one.is_table == is_table]
    names = [part for part in location if isinstance(part, str)]

    def shared(one: KeyPlace) -> int:
        pairs = zip(names, one.table, strict=False)
        return len(list(takewhile(lambda pair: pair[0] == pair[1], pairs)))

    nearest = sorted(known, key=shared, reverse=True)
    return " or ".join(str(one) for one in nearest[:MOST_PLACES])


def keys_at(location: Sequence[int | str], model: type[BaseModel]) -> list[str]:
    """The keys that may stand in the table at a location."""
    return [one.key for one in key_places(model) if one.allowed_at(location)]
