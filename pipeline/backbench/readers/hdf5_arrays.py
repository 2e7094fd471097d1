"""Arrays as HDF5, and as MAT files of 7.3, through h5py where it is installed."""

from __future__ import annotations

import importlib
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from backbench.documents.stimuli import Table
from backbench.readers.array_contents import contents_apart, serve_arrays
from backbench.readers.array_tables import (
    MAX_BYTES,
    Arrays,
    contents_of_arrays,
    read_arrays_apart,
    table_of_arrays,
)
from backbench.readers.declaration import ArrayContents, TableData, TableFormat
from backbench.readers.file_formats import unreadable

MAGIC = b"\x89HDF\r\n\x1a\n"
PLACES = (0, 512, 1024, 2048)
"""Where the magic may stand: behind a block of the user's, whose length is a power of two."""
LIBRARY = "h5py"


def is_hdf5(head: bytes, suffix: str) -> bool:
    """Whether the magic stands at one of its places."""
    return any(head[place : place + len(MAGIC)] == MAGIC for place in PLACES)


def read_hdf5(path: Path, name: str, table: Table) -> TableData:
    """The declared columns, each a data set by its path in the file. Raises UserError."""
    _require_library(name)
    return read_arrays_apart(__name__, path, name, table, "HDF5")


def _require_library(name: str) -> None:
    if find_spec(LIBRARY) is None:
        raise unreadable(
            name, "an HDF5 file, for which h5py isn't installed", "the extra hdf5",
            "install backbench[hdf5], or save it as NPY or as text",
        )  # fmt: skip


def read_hdf5_here(path: Path, name: str, table: Table) -> TableData:
    """The same in this process, without its bounds of memory and time."""
    return table_of_arrays(lambda: _arrays(path), "HDF5", name, table)


def hdf5_contents(path: Path, name: str) -> ArrayContents:
    """What the file holds. Raises UserError."""
    _require_library(name)
    return contents_apart(__name__, path, name, "HDF5", MAX_BYTES)


def hdf5_contents_here(path: Path, name: str) -> ArrayContents:
    """The same in this process, without its bounds of memory and time."""
    held = contents_of_arrays(lambda: _arrays(path), "HDF5", name)
    return replace(held, single=(*held.single, *_attributes(path)))


def _arrays(path: Path) -> Arrays:
    """Data sets of numbers by path, links out of the file left alone."""
    h5py: Any = importlib.import_module(LIBRARY)
    arrays: dict[str, Any] = {}

    def take(place: str, item: Any) -> None:
        if not isinstance(item, h5py.Dataset) or item.dtype.kind not in "iufcV":
            return
        # Only the file's own bytes: data may be declared to lie in other files.
        if not item.external and not item.is_virtual:
            arrays[place] = np.asarray(item[()])

    with h5py.File(path, "r") as file:
        file.visititems(take)
    return arrays


def _attributes(path: Path) -> list[tuple[str, float]]:
    """Single numbers that are attributes of the file, its groups and data sets: "ch1@dt"."""
    h5py: Any = importlib.import_module(LIBRARY)
    found: list[tuple[str, float]] = []

    def take(place: str, item: Any) -> None:
        for key in item.attrs:
            try:
                value = np.asarray(item.attrs[key])
            except (OSError, TypeError, ValueError, KeyError):
                continue  # of a type that numpy lacks, or damaged
            if value.size == 1 and value.dtype.kind in "iuf":
                found.append((f"{place}@{key}", float(value.item())))

    with h5py.File(path, "r") as file:
        take("", file)
        file.visititems(take)
    return found


HDF5 = TableFormat("HDF5 file", is_hdf5, read_hdf5, hdf5_contents)

if __name__ == "__main__":
    serve_arrays(read_hdf5_here, hdf5_contents_here)
