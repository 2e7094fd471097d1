"""TOML files held against typed models; every fault at once, in words."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from backbench.documents.key_places import key_places, keys_at, likely_place
from backbench.documents.regular_files import read_regular, reason_of
from backbench.documents.toml_hints import unreadable
from backbench.documents.toml_lines import line_of, with_line
from backbench.errors import MISSING, Fault, UserError, did_you_mean
from backbench.quantities.counts import counted
from backbench.quantities.writing import in_text

if TYPE_CHECKING:
    from pydantic import BaseModel
    from pydantic_core import ErrorDetails

Model = TypeVar("Model", bound="BaseModel")

MAX_TOML_BYTES = 4_000_000
MAX_KEY_PARTS = 16
MAX_FAULTS = 500
"""Faults of one file that are listed one by one."""
_TYPES = {
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "list_type": "a list in [ ]",
    "dict_type": "a table { }",
    "model_type": "a table { }",
    "date_type": "a date such as 2024-05-11, without quotes",
    "finite_number": "a finite number",
}


def parse_toml(data: bytes, name: str) -> dict[str, Any]:
    """The TOML text of a file. Raises UserError where it is not UTF-8 or not TOML."""
    if len(data) > MAX_TOML_BYTES:
        raise UserError(
            f"{name} can't be read",
            [Fault(name, f"{len(data)} bytes", f"at most {MAX_TOML_BYTES}")],
        )
    try:
        text = data.decode("utf-8-sig")
        _refuse_deep(text, name)
        return tomllib.loads(text)
    except UnicodeDecodeError as error:
        fault = Fault(name, f"a byte at {error.start} that is not UTF-8", "a text file in UTF-8")
    except (ValueError, RecursionError) as error:
        # A number of thousands of digits is a plain ValueError.
        fault = unreadable(text, str(error), name)
    raise UserError(f"{name} can't be read", [fault])


_STRING_OR_COMMENT = re.compile(
    r'"""(?:\\.|[^\\])*?"""|' + r"'''.*?'''|"
    r'"(?:[^"\\\n]|\\.)*+"|' + r"'[^'\n]*+'|#[^\n]*+", re.DOTALL,
)  # fmt: skip
_DEEP = re.compile(
    rf"(?<![\w-])[\w-]++(?:[ \t]*+\.[ \t]*+[\w-]++){{{MAX_KEY_PARTS},}}+"
)  # fmt: skip


def _refuse_deep(text: str, name: str) -> None:
    """A key of thousands of parts, or thousands of a hundred, would take the parser minutes.

    Nothing else in TOML has more than three words with dots between them, beside strings and
    comments, so that it doesn't matter where the key stands: alone, in a heading or in braces.
    """
    bare = _STRING_OR_COMMENT.sub(_without_content, text)
    found = _DEEP.search(bare)
    if found is not None:
        where = f"{name}, line {bare.count(chr(10), 0, found.start()) + 1}"
        fault = Fault(where, f"a key of {found.group().count('.') + 1} parts", "a short key")
        raise UserError(f"{name} can't be read", [fault])


def _without_content(match: re.Match[str]) -> str:
    """One letter for a string, nothing for a comment; the lines stay."""
    text = match.group()
    return "" if text.startswith("#") else "s" + "\n" * text.count("\n")


def amount(value: object) -> object:
    """Whole numbers are numbers: 8 reads as 8.0. true and false are not."""
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


_WHOLE = {"made", "year", "order", "number", "columns", "skip_bytes"}


def measures(value: Any, key: str = "") -> Any:
    """TOML's whole numbers as floats wherever a measure is meant (8 ohm is 8.0)."""
    if isinstance(value, dict):
        return {k: measures(v, k) for k, v in value.items()}
    if isinstance(value, list):
        return [measures(v, key) for v in value]
    return value if key in _WHOLE else amount(value)


def read_checked(model: type[Model], data: bytes, name: str) -> Model:
    """The TOML text of a file as a model, measures as numbers. Raises UserError as `checked`."""
    return checked(model, measures(parse_toml(data, name)), name, _text(data))


def _text(data: bytes) -> str:
    return data.decode("utf-8-sig", errors="replace")


def checked(model: type[Model], content: dict[str, Any], name: str, text: str = "") -> Model:
    """The content as a model. Raises UserError with one Fault for each thing wrong.

    text: the file's, whose lines the faults then name.
    """
    from pydantic import ValidationError

    try:
        return model.model_validate(content)
    except ValidationError as error:
        raise of_errors(error.errors(include_url=False), name, model, text) from None


def of_errors(
    errors: Sequence[ErrorDetails], name: str, model: type[BaseModel], text: str = ""
) -> UserError:
    """Validation errors as one error in plain words; of very many, the first."""
    faults = merged(worded(detail, name, model, text) for detail in errors[:MAX_FAULTS])
    number, more = len(faults), ""
    if len(errors) > MAX_FAULTS:
        number, more = len(errors), f", the first {MAX_FAULTS} listed here"
    return UserError(f"{name} has {counted(number, 'fault')}{more}", faults)


def merged(faults: Iterable[Fault]) -> list[Fault]:
    """One fault a place: a value that several types may take stands once, with all of them."""
    by_place: dict[tuple[str, str], Fault] = {}
    for fault in faults:
        place = (fault.where, fault.found)
        other = by_place.get(place)
        expected = f"{other.expected} or {fault.expected}" if other else fault.expected
        by_place[place] = replace(fault, expected=expected)
    return list(by_place.values())


def worded(detail: ErrorDetails, name: str, model: type[BaseModel], text: str = "") -> Fault:
    """One validation error in plain words; with the line of a file's text where that is given."""
    *around, last = detail["loc"] or ("Model",)
    # What is no key of ours is a key of the user's, however it is written.
    own = [last] if detail["type"] == "extra_forbidden" or not _internal(last) else []
    location = (*(part for part in around if not _internal(part)), *own)
    fault = _worded(detail, location, name, model)
    return with_line(fault, name, line_of(text, location)) if text else fault


def _worded(
    detail: ErrorDetails, location: tuple[str | int, ...], name: str, model: type[BaseModel]
) -> Fault:
    where = f"{name}, {spelled(location)}" if location else name
    kind, given = detail["type"], detail["input"]
    given_text = MISSING if given is None else shortened(given)
    if kind == "missing":
        return Fault(where, MISSING, "a value", "no default is assumed")
    if kind == "extra_forbidden":
        return _unknown_key(detail, location, where, model)
    if kind == "value_error":
        text = detail["msg"].removeprefix("Value error, ")
        expected, _, remedy = text.partition(" | ")
        return Fault(where, given_text, expected, remedy)
    brackets = _brackets(kind, given, location)
    if brackets:
        return Fault(where, *brackets)
    if kind in _TYPES:
        return Fault(where, given_text, _TYPES[kind])
    return Fault(where, given_text, _bounds(detail))


def _brackets(
    kind: str, given: object, location: tuple[str | int, ...]
) -> tuple[str, str, str] | None:
    """A heading with one pair of brackets where two are meant, or the other way round."""
    heading = ".".join(part for part in location if isinstance(part, str))
    if kind == "list_type" and isinstance(given, dict):
        return "one table", "any number of them", f"write [[{heading}]] above each"
    tables = isinstance(given, list) and any(isinstance(one, dict) for one in given)
    if kind in {"model_type", "dict_type"} and tables:
        return "a list of tables", "one table", f"write [{heading}], once"
    return None


def _bounds(detail: ErrorDetails) -> str:
    limits = detail.get("ctx", {})
    match detail["type"]:
        case "greater_than":
            return f"a number above {in_text(limits['gt'], digits=6)}"
        case "greater_than_equal":
            return f"a number of at least {in_text(limits['ge'], digits=6)}"
        case "less_than_equal":
            return f"a number of at most {in_text(limits['le'], digits=6)}"
        case "literal_error":
            return str(limits["expected"])
        case "string_too_short":
            return "a text that is not empty"
        case _:
            return detail["msg"][0].lower() + detail["msg"][1:]


def _unknown_key(
    detail: ErrorDetails, location: tuple[str | int, ...], where: str, model: type[BaseModel]
) -> Fault:
    key = str(location[-1])
    return Fault(
        where, f"the unknown key {key!r}", "a key that may stand there",
        _likely(key, detail["input"], location[:-1], model),
    )  # fmt: skip


def _likely(key: str, value: object, table: tuple[str | int, ...], model: type[BaseModel]) -> str:
    """What was meant: a key of this table, or the same key elsewhere, or a like one elsewhere."""
    near = did_you_mean(key, keys_at(table, model))
    place = likely_place(key, value, table, model)
    if near or place:
        return near if not place else f"write it {place}"
    return did_you_mean(key, {one.key for one in key_places(model)} - {key}, "take it out")


def _internal(part: int | str) -> bool:
    """Parts of pydantic's path that name a type rather than a key."""
    return isinstance(part, str) and (
        part in {"float", "str", "int", "function-after", "function-before"}
        or part.startswith(("literal[", "constrained-", "list[", "dict[", "function-"))
        or part[:1].isupper()
    )


def spelled(location: Sequence[int | str]) -> str:
    """A path as a reader says it: "capture 3, stimulus.tone_hz" (entries count from 1)."""
    words: list[str] = []
    for part in location:
        if isinstance(part, int):
            words[-1:] = [f"{words[-1] if words else ''} {part + 1}".strip(), ""]
        elif words and words[-1]:
            words[-1] += f".{part}"
        else:
            words[-1:] = [part] if words else []
            words = words or [str(part)]
    return ", ".join(word for word in words if word)


def shortened(value: object, limit: int = 60) -> str:
    """A found value as it can stand in one line."""
    text = repr(value) if isinstance(value, str) else str(value)
    text = "".join(c if c.isprintable() else "?" for c in text)
    return text if len(text) <= limit else text[: limit - 1] + "…"


def read_bytes(path: Path, what: str) -> bytes:
    """A file's bytes. Raises UserError where it is missing or can't be read."""
    try:
        return read_regular(path, MAX_TOML_BYTES)
    except OSError as error:
        fault = Fault(str(path), reason_of(error), "a file")
        raise UserError(f"{what} can't be read", [fault]) from None
