"""Reviews of the demonstration under further keys, for catalogues larger than it is."""

from __future__ import annotations

import re
import shutil
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

MODEL = re.compile(r'^(model = ".*)"$', re.MULTILINE)


@dataclass(frozen=True)
class HeldReview:
    """A review's folder, how many captures it names, and the keys of its units."""

    folder: Path
    captures: int
    units: tuple[str, ...]


def held(folder: Path) -> HeldReview:
    manifest = tomllib.loads((folder / "review.toml").read_text(encoding="utf-8"))
    units = tuple(unit["key"] for unit in manifest["unit"])
    return HeldReview(folder, len(manifest.get("capture", [])), units)


def renamed(review: Path, number: int, into: Path) -> HeldReview:
    """The review with its own keys for review and units and its own names of models; originals
    are linked."""
    text = (review / "review.toml").read_text(encoding="utf-8")
    manifest = tomllib.loads(text)
    for key in [manifest["review"]["key"], *(unit["key"] for unit in manifest["unit"])]:
        text = text.replace(f'"{key}"', f'"{key}-{number}"')
    text = MODEL.sub(rf'\1 {number}"', text)
    folder = into / f"{review.name}-{number}"
    shutil.copytree(review, folder, copy_function=lambda a, b: Path(b).hardlink_to(a))
    (folder / "review.toml").unlink()
    (folder / "review.toml").write_text(text, encoding="utf-8")
    return held(folder)


def without_end(reviews: list[Path], into: Path) -> Iterator[HeldReview]:
    """The reviews again and again, each time under new keys."""
    return (renamed(review, number, into) for number in range(1000) for review in reviews)


def until_captures(made: Iterator[HeldReview], least: int) -> tuple[list[Path], int]:
    """Reviews until they hold so many captures, and how many they hold."""
    folders: list[Path] = []
    captures = 0
    while captures < least:
        review = next(made)
        folders, captures = [*folders, review.folder], captures + review.captures
    return folders, captures


def until_units(made: Iterator[HeldReview], least: int) -> tuple[list[Path], int]:
    """Reviews until they hold so many units, and how many they hold."""
    folders: list[Path] = []
    units: set[str] = set()
    while len(units) < least:
        review = next(made)
        folders = [*folders, review.folder]
        units.update(review.units)
    return folders, len(units)
