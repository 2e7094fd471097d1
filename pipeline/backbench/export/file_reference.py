"""pipeline/MANIFEST.md, written from the models: python -m backbench.export.file_reference"""

from __future__ import annotations

import ast
import inspect
import json
import textwrap
from collections.abc import Iterator
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from backbench.backfill.column_map import ColumnMap
from backbench.documents.manifest import Manifest
from backbench.documents.settings import Settings
from backbench.documents.stimuli import KINDS

PAGE = Path(__file__).parents[2] / "MANIFEST.md"
FILES: tuple[tuple[str, str, type[BaseModel]], ...] = (
    ("review.toml", "One review: its units, its captures and how they were taken.", Manifest),
    ("backbench.toml", "The settings of a catalogue: benches, calibrations, options.", Settings),
    ("The column map of a backfill", "How a spreadsheet of old figures is read.", ColumnMap),
)
UNITS = {
    "hz": "Hz",
    "ohm": "ohm",
    "w": "W",
    "vrms": "V rms",
    "vpp": "V peak to peak",
    "s": "s",
    "ms": "ms",
    "percent": "%",
    "db": "dB",
    "dba": "dB(A)",
    "m": "m",
    "mm": "mm",
    "c": "°C",
    "on": "minutes",
    "scale": "V peak",
}
"""The unit of a value, by the last word of its key."""
COMPOUND = {"_cm_s": "cm/s", "_nwb_m": "nWb/m"}
"""The unit by the last two words of a key, before those of the last one."""

TYPES = {
    "str": "text", "float": "number", "int": "whole number", "bool": "true or false",
    "date": "date", "Any": "table",
}  # fmt: skip
"""The names of plain types for a writer of the file."""

INTRODUCTION = """\
# The files that you write
Written by `python -m backbench.export.file_reference` from the models that read these files; a
test checks that it is up to date. A key that isn't listed here is refused. No default is assumed
for a load, a level or a calibration. A key in Hz, s, ms, V, W, ohm, dB or % takes a number of that
unit, or a text with its unit: `1000` or `"1 kHz"`.

A heading in double brackets, such as `[[unit]]`, begins one of several tables and is written above
each of them. NAME in a heading stands for a name of your own, as in `[bench.garage]`, the number of
a track, or the fact or column that a table is about. A table may stand in one line of the table
that it belongs to: `conditions = { load_ohm = 8 }`.
"""


def page() -> str:
    """The text of MANIFEST.md."""
    sections = [INTRODUCTION]
    for title, purpose, model in FILES:
        sections.append(f"## {title}\n{purpose}\n")
        sections += [_table(table, name) for name, table in tables_of(model)]
    return "\n".join(sections)


def tables_of(model: type[BaseModel]) -> Iterator[tuple[str, type[BaseModel]]]:
    """A file's model and every model inside it once, each with the heading of its table."""
    seen: set[type[BaseModel]] = set()
    waiting: list[tuple[str, str, type[BaseModel]]] = [("", "", model)]
    while waiting:
        name, heading, table = waiting.pop(0)
        if table in seen:
            continue
        seen.add(table)
        yield heading, table
        for key, info in table.model_fields.items():
            path = f"{name}.{info.alias or key}".removeprefix(".")
            if path == "capture.stimulus":
                waiting += [(path, _stimulus_heading(part), part) for part in KINDS]
                continue
            sort = _sort(info.annotation)
            path = f"{path}.NAME" if sort is dict else path
            written = f"[[{path}]]" if sort is list else f"[{path}]"
            waiting += [(path, f"`{written}`", part) for part in _models(info.annotation)]


def _stimulus_heading(model: type[BaseModel]) -> str:
    """The table of a stimulus by the key that only it has."""
    return f"`[capture.stimulus]` with `{next(iter(model.model_fields))}`"


def _sort(annotation: Any) -> Any:
    """Whether an annotation is of a list or a dict of tables; None where of one table."""
    origin = get_origin(annotation)
    if origin in (list, dict):
        return origin
    sorts = [_sort(part) for part in get_args(annotation)]
    return next((sort for sort in sorts if sort), None)


def descriptions(model: type[BaseModel]) -> dict[str, str]:
    """The docstring beneath each field of a model, inherited ones included."""
    texts: dict[str, str] = {}
    for part in reversed(model.__mro__):
        if not (issubclass(part, BaseModel) and part is not BaseModel):
            continue
        tree = ast.parse(textwrap.dedent(inspect.getsource(part))).body[0]
        assert isinstance(tree, ast.ClassDef)
        for field, after in zip(tree.body, tree.body[1:], strict=False):
            if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name):
                text = _text(after)
                if text:
                    texts[field.target.id] = " ".join(text.split())
    return texts


def _text(node: ast.stmt) -> str:
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return str(node.value.value)
    return ""


def _models(annotation: Any) -> list[type[BaseModel]]:
    """The models that an annotation is made of."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in _models(part)]


def _table(model: type[BaseModel], name: str) -> str:
    heading = f"### {name}" if name else "### At the top of the file"
    about = " ".join(str(model.__doc__ or "").split("\n\n")[0].split())
    texts = descriptions(model)
    rows = [
        f"| `{info.alias or key}` | {kind_of(info.annotation)} | {_unit(key)} | {_default(info)} | "
        f"{' | '.join(texts.get(key, '').partition(' Example: ')[::2])} |"
        for key, info in model.model_fields.items()
    ]
    head = ["| key | type | unit | default | meaning | example |", "| --- " * 6 + "|"]
    return "\n".join([heading, about, "", *head, *rows, ""])


def kind_of(annotation: Any) -> str:
    """A field's type as a writer of the file knows it."""
    if hasattr(annotation, "__metadata__"):
        return kind_of(get_args(annotation)[0])
    origin = get_origin(annotation)
    if origin is not None:
        return _composed(origin, get_args(annotation))
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return "table"
    return TYPES.get(getattr(annotation, "__name__", ""), "value")


def _composed(origin: Any, parts: tuple[Any, ...]) -> str:
    if origin is Literal:
        words = (f'`"{part}"`' if isinstance(part, str) else str(part).lower() for part in parts)
        return ", ".join(words)
    if origin in (Union, UnionType):
        return " or ".join(kind_of(part) for part in parts if part is not NoneType)
    if origin is dict:
        return f"{kind_of(parts[1])} by name"
    kind = kind_of(parts[0])
    return (
        f"list of {kind}s"
        if kind in ("table", "text", "number", "whole number")
        else f"list of {kind}"
    )


def _unit(key: str) -> str:
    for ending, unit in COMPOUND.items():
        if key.endswith(ending):
            return unit
    return UNITS.get(key.rpartition("_")[2], "") if "_" in key else ""


def _default(info: FieldInfo) -> str:
    if info.is_required():
        return "required"
    value = info.get_default(call_default_factory=True)
    if value is None or value in ([], {}, ()) or isinstance(value, BaseModel):
        return "none"
    return f"`{json.dumps(value, ensure_ascii=False)}`"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
