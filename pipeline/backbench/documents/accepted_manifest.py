"""A manifest as far as it stands: a faulty entry costs itself alone, and is listed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from backbench.documents.file_names import MANIFEST_NAME
from backbench.documents.manifest import Manifest, crossed
from backbench.documents.refused_entries import (
    Place,
    PlacedFault,
    names_in,
    place_of,
    refused_entries,
)
from backbench.documents.toml_lines import line_of, with_line
from backbench.documents.validation import (
    MAX_FAULTS,
    measures,
    merged,
    of_errors,
    parse_toml,
    worded,
)
from backbench.errors import Fault, UserError
from backbench.quantities.counts import counted

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

LISTS = ("capture", "entered", "photograph")


def accepted_manifest(data: bytes, name: str = MANIFEST_NAME) -> Manifest:
    """The manifest in a file's bytes without its faulty entries, which `refused` lists.

    An entry is a capture, a photograph, a published or an entered figure. Raises UserError with
    every fault of the file where something else is wrong, or where no capture and no entered
    figure would be left.
    """
    content = measures(parse_toml(data, name))
    text = data.decode("utf-8-sig")
    manifest = _valid_entries(content, name, text)
    faults = [*crossed(manifest, name)]
    if any(place is None for place, _ in faults):
        raise _all(manifest, faults, name)
    while faults:
        # Named without the folder: a review kept in the catalogue says the same everywhere.
        own = [_on_its_line(place, fault, text) for place, fault in
               crossed(manifest, MANIFEST_NAME)]  # fmt: skip
        manifest = manifest.without(refused_entries(own, manifest.names()))
        faults = [*crossed(manifest, name)]
    refuse_where_nothing_stands(manifest, name)
    return manifest


def refuse_where_nothing_stands(manifest: Manifest, name: str) -> None:
    """Raises UserError where entries were refused and neither a capture nor a figure is left."""
    lost = any(entry.table in ("capture", "entered") for entry in manifest.refused)
    if lost and not manifest.capture and not manifest.entered:
        raise _all(manifest, [], name)


def _all(manifest: Manifest, faults: list[PlacedFault], name: str) -> UserError:
    refused = [fault for entry in manifest.refused for fault in entry.faults]
    found = [*refused, *(fault for _, fault in faults)]
    return UserError(f"{name} has {counted(len(found), 'fault')}", found)


def _valid_entries(content: dict[str, Any], name: str, text: str) -> Manifest:
    """The manifest without entries that are wrong by themselves. Raises UserError."""
    from pydantic import ValidationError

    try:
        return Manifest.model_validate(content)
    except ValidationError as error:
        errors = error.errors(include_url=False)
    if len(errors) > MAX_FAULTS or any(place_of(detail["loc"]) is None for detail in errors):
        raise of_errors(errors, name, Manifest, text)
    refused = refused_entries(_placed(errors, text), names_in(content))
    left = Manifest.model_validate(_left(content, {entry.place for entry in refused}))
    return left.having_refused(refused)


def _placed(errors: list[ErrorDetails], text: str) -> list[PlacedFault]:
    by_place: dict[Place | None, list[ErrorDetails]] = {}
    for detail in errors:
        by_place.setdefault(place_of(detail["loc"]), []).append(detail)
    return [
        (place, fault)
        for place, details in by_place.items()
        for fault in merged(worded(detail, MANIFEST_NAME, Manifest, text) for detail in details)
    ]


def _on_its_line(place: Place | None, fault: Fault, text: str) -> PlacedFault:
    """A fault with the line on which its entry begins."""
    path = [part - 1 if isinstance(part, int) else part for part in place or ()]
    return place, with_line(fault, MANIFEST_NAME, line_of(text, path)) if place else fault


def _left(content: dict[str, Any], gone: set[Place]) -> dict[str, Any]:
    """The file's tables without some entries."""

    def kept(entries: list[Any], *table: str | int) -> list[Any]:
        numbered = enumerate(entries, start=1)
        return [entry for n, entry in numbered if (*table, n) not in gone]

    units = [
        {**unit, "published": kept(unit["published"], "unit", n, "published")}
        if "published" in unit else unit
        for n, unit in enumerate(content["unit"], start=1)
    ]  # fmt: skip
    return {
        **content,
        "unit": units,
        **{name: kept(content[name], name) for name in LISTS if name in content},
    }
