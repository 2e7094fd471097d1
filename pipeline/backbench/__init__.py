"""A hi-fi bench reviewer's captures, turned into one comparative database."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from backbench.catalogue import Catalogue

__version__ = "0.1.0"


def open(path: str | Path) -> Catalogue:
    """Open the catalogue folder at path. Raises UserError where there is none."""
    from backbench.catalogue import Catalogue

    return Catalogue(path)
