"""Entries proposed for files of arrays, and what is asked where the file doesn't tell."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
import scipy.io
import soundfile
from pydantic import TypeAdapter

from backbench.bench_day.manifest_entries import Suggestion
from backbench.bench_day.session_check import recordings
from backbench.bench_day.table_entries import table_entries
from backbench.documents.stimuli import Table
from backbench.readers import array_tables, hdf5_arrays, matlab_arrays, numpy_arrays, parquet
from backbench.readers.declaration import ArrayContents, TableData
from backbench.readers.file_formats import read_table

OUT = [("heron-40", "left")]
TIME = np.arange(2000) / 1e6
VOLTS = np.round(3 * np.sin(2 * np.pi * 2000 * TIME) + 0.01 * np.cos(9e5 * TIME), 3)
READ = {
    numpy_arrays.__name__: numpy_arrays.read_numpy_here,
    matlab_arrays.__name__: matlab_arrays.read_mat_here,
    hdf5_arrays.__name__: hdf5_arrays.read_hdf5_here,
    parquet.__name__: parquet.read_parquet_here,
}
CONTENTS = {
    numpy_arrays: numpy_arrays.numpy_contents_here,
    matlab_arrays: matlab_arrays.mat_contents_here,
    hdf5_arrays: hdf5_arrays.hdf5_contents_here,
    parquet: parquet.parquet_contents_here,
}


@pytest.fixture(autouse=True)
def _here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read in this process; one test below asks another one."""

    def read(module: str, path: Path, name: str, table: Table, kind: str) -> TableData:
        return READ[module](path, name, table)

    def contents(module: str, path: Path, name: str, *_: object) -> ArrayContents:
        return next(own for key, own in CONTENTS.items() if key.__name__ == module)(path, name)

    for module in CONTENTS:
        monkeypatch.setattr(module, "contents_apart", contents)
    monkeypatch.setattr(array_tables, "read_apart", read)
    monkeypatch.setattr(parquet, "read_apart", read)


def proposed(folder: Path) -> Suggestion | str:
    suggestions, unknown = table_entries(folder, (), OUT)
    return suggestions[0] if suggestions else unknown[0][1]


def columns(suggestion: Suggestion | str) -> dict[str, Any]:
    assert isinstance(suggestion, Suggestion), suggestion
    return suggestion.table["stimulus"]["columns"]  # type: ignore[index,no-any-return]


def write_named(folder: Path, kind: str, arrays: dict[str, Any]) -> None:
    if kind == "npz":
        np.savez(folder / "t.npz", **arrays)
    elif kind == "npy":
        fields = np.zeros(2000, dtype=[(name, "f8") for name in arrays])
        for name, values in arrays.items():
            fields[name] = values
        np.save(folder / "t.npy", fields)
    elif kind == "mat":
        scipy.io.savemat(folder / "t.mat", arrays)
    elif kind == "h5":
        h5py = pytest.importorskip("h5py")
        with h5py.File(folder / "t.h5", "w") as file:
            for name, values in arrays.items():
                file[name] = values
    else:
        pl.DataFrame(arrays).write_parquet(folder / "t.parquet")


@pytest.mark.parametrize("kind", ["npz", "npy", "parquet", "h5"])
def test_named_columns_with_units_are_proposed_ready(tmp_path: Path, kind: str) -> None:
    write_named(tmp_path, kind, {"time (s)": TIME, "CH1 (V)": VOLTS})
    made = proposed(tmp_path)
    assert isinstance(made, Suggestion)
    assert made.ready
    assert "time (s)" in made.source
    assert made.table["stimulus"]["tone_hz"] == pytest.approx(2000, rel=1e-3)  # type: ignore[index]
    table = TypeAdapter(Table).validate_python(made.table["stimulus"])
    np.testing.assert_allclose(read_table(tmp_path / made.file, table).columns["voltage"], VOLTS)


@pytest.mark.parametrize("kind", ["npz", "mat", "h5"])
def test_a_rate_that_a_variable_names_is_the_time(tmp_path: Path, kind: str) -> None:
    write_named(tmp_path, kind, {"v": VOLTS, "fs": 1e6, "settings": np.arange(3.0)})
    made = columns(proposed(tmp_path))
    assert made["time"] == {"start": 0.0, "increment": 1e-6, "unit": "s"}
    assert made["voltage"]["name"] == "v"
    assert made["voltage"]["unit"].startswith("FILL IN")


@pytest.mark.parametrize("where", ["", "scope", "scope/ch1"])
def test_an_attribute_that_names_the_rate_is_the_time(tmp_path: Path, where: str) -> None:
    h5py = pytest.importorskip("h5py")
    with h5py.File(tmp_path / "t.h5", "w") as file:
        file["scope/ch1"] = VOLTS
        file["scope/ch1"].attrs.update({"unit": "V", "limits": [1.0, 2.0]})
        (file[where] if where else file).attrs["sample_rate"] = 1e6
    made = proposed(tmp_path)
    assert columns(made)["time"] == {"start": 0.0, "increment": 1e-6, "unit": "s"}
    assert isinstance(made, Suggestion)
    assert made.source.endswith(f"time from {where}@sample_rate")


def test_attributes_that_contradict_each_other_give_no_time(tmp_path: Path) -> None:
    h5py = pytest.importorskip("h5py")
    with h5py.File(tmp_path / "t.h5", "w") as file:
        file["ch1"] = VOLTS
        file.attrs["sample_rate"] = 1e6
        file["ch1"].attrs["sample_rate"] = 2e6
    assert not isinstance(proposed(tmp_path), Suggestion)


def test_a_field_that_names_the_increment_is_the_time(tmp_path: Path) -> None:
    scipy.io.savemat(tmp_path / "t.mat", {"v": VOLTS, "acquisition": {"dt": 1e-6, "n": "x"}})
    made = proposed(tmp_path)
    assert columns(made)["time"]["increment"] == 1e-6
    assert isinstance(made, Suggestion)
    assert made.source.endswith("time from acquisition.dt")


def test_units_and_meanings_that_names_lack_are_asked(tmp_path: Path) -> None:
    write_named(tmp_path, "mat", {"t": TIME, "v": VOLTS})
    made = columns(proposed(tmp_path))
    assert (made["time"]["name"], made["voltage"]["name"]) == ("t", "v")
    assert made["time"]["unit"].startswith("FILL IN")
    (tmp_path / "t.mat").unlink()
    np.save(tmp_path / "t.npy", np.column_stack([TIME, VOLTS]))
    assert proposed(tmp_path) == (
        "arrays: 2000 x 2 float64, without headings: declare what its columns are, by number, "
        "with their units"
    )
    np.savez(tmp_path / "t.npz", f=np.arange(1.0, 9), z=np.full(8, 3 + 4j))
    (tmp_path / "t.npy").unlink()
    assert "impedance or response? Declare which it is" in str(proposed(tmp_path))


def test_what_holds_no_header_or_nothing_is_said(tmp_path: Path) -> None:
    (tmp_path / "t.bin").write_bytes(np.arange(100, dtype="<i2").tobytes())
    assert "`raw`, with type, order and columns" in str(proposed(tmp_path))
    (tmp_path / "t.bin").unlink()
    np.save(tmp_path / "t.npy", np.array(["a", "b"]))
    assert proposed(tmp_path) == "arrays: 2 <U1: no columns of numbers"
    (tmp_path / "t.npy").write_bytes(b"\x93NUMPY\x01\x00")
    assert "damaged NPY" in str(proposed(tmp_path))


def test_au_is_a_recording(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "t.au", VOLTS / 4, 48_000, subtype="PCM_24")
    assert recordings(tmp_path) == [tmp_path / "t.au"]
    assert table_entries(tmp_path, (), OUT) == ([], [])


def test_another_process_looks_into_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.undo()
    np.savez(tmp_path / "t.npz", t=TIME, fs=1e6)
    held = numpy_arrays.numpy_contents(tmp_path / "t.npz", "t.npz")
    assert held == ArrayContents((("t", 2000),), (("fs", 1e6),), (("t", "2000 float64"),))
