"""Arrays as MAT files of level 5; those of 7.3 are HDF5."""

from __future__ import annotations

from pathlib import Path

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


def is_mat(head: bytes, suffix: str) -> bool:
    """Whether the file begins as level 5 does: 124 bytes of text, version and order of bytes."""
    return head[:6] == b"MATLAB" and head[126:128] in {b"IM", b"MI"} and head[124:126] in {
        b"\x00\x01", b"\x01\x00",
    }  # fmt: skip


def read_mat(path: Path, name: str, table: Table) -> TableData:
    """The declared columns, each a variable of the file. Raises UserError."""
    return read_arrays_apart(__name__, path, name, table, "MAT")


def read_mat_here(path: Path, name: str, table: Table) -> TableData:
    """The same in this process, without its bounds of memory and time."""
    return table_of_arrays(lambda: _arrays(path), "MAT", name, table)


def mat_contents(path: Path, name: str) -> ArrayContents:
    """What the file holds. Raises UserError."""
    return contents_apart(__name__, path, name, "MAT", MAX_BYTES)


def mat_contents_here(path: Path, name: str) -> ArrayContents:
    """The same in this process, without its bounds of memory and time."""
    return contents_of_arrays(lambda: _arrays(path), "MAT", name)


def _arrays(path: Path) -> Arrays:
    # Loaded by the first such file: every recording asks this module whether it is one.
    import scipy.io

    # Nothing in such a file is executed: what is neither number nor text is left as bytes.
    held = scipy.io.loadmat(path, appendmat=False)
    return {name: value for name, value in held.items() if hasattr(value, "dtype")}


MAT = TableFormat("MAT file", is_mat, read_mat, mat_contents)

if __name__ == "__main__":
    serve_arrays(read_mat_here, mat_contents_here)
