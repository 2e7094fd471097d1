"""Arrays as NPY and NPZ."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import Any

from numpy.lib import format as npy
from numpy.typing import NDArray

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


def is_numpy(head: bytes, suffix: str) -> bool:
    """Whether the file begins as NPY does, or is an archive that is named NPZ."""
    return head.startswith(b"\x93NUMPY") or (head.startswith(b"PK") and suffix == ".npz")


def read_numpy(path: Path, name: str, table: Table) -> TableData:
    """The declared columns. Raises UserError; an array that holds objects is refused."""
    return read_arrays_apart(__name__, path, name, table, "NPY or NPZ")


def read_numpy_here(path: Path, name: str, table: Table) -> TableData:
    """The same in this process, without its bounds of memory and time."""
    return table_of_arrays(lambda: _arrays(path), "NPY or NPZ", name, table)


def numpy_contents(path: Path, name: str) -> ArrayContents:
    """What the file holds. Raises UserError."""
    return contents_apart(__name__, path, name, "NPY or NPZ", MAX_BYTES)


def numpy_contents_here(path: Path, name: str) -> ArrayContents:
    """The same in this process, without its bounds of memory and time."""
    return contents_of_arrays(lambda: _arrays(path), "NPY or NPZ", name)


def _arrays(path: Path) -> Arrays:
    with path.open("rb") as file:
        if file.read(2) != b"PK":
            file.seek(0)
            return {"": _array(file)}
    arrays = {}
    with zipfile.ZipFile(path) as archive:
        for member in archive.namelist():
            if member.endswith(".npy"):
                with archive.open(member) as file:
                    arrays[member.removesuffix(".npy")] = _array(file)
    return arrays


def _array(file: Any) -> NDArray[Any]:
    """Raises ValueError for an array of objects, which would be pickles."""
    array: NDArray[Any] = npy.read_array(file, allow_pickle=False)
    return array


NUMPY = TableFormat("NumPy arrays (NPY, NPZ)", is_numpy, read_numpy, numpy_contents)

if __name__ == "__main__":
    serve_arrays(read_numpy_here, numpy_contents_here)
