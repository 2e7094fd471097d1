"""Arrays of numbers as tables: NPY, NPZ, MAT, HDF5 and samples without a header."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.io
from numpy.testing import assert_allclose

from backbench.documents.raw_layout import RawLayout
from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.errors import UserError
from backbench.readers import array_tables, hdf5_arrays, matlab_arrays, numpy_arrays
from backbench.readers.declaration import TableData
from backbench.readers.file_formats import read_table

TIME = np.arange(100) * 1e-5
VOLTS = np.sin(2 * np.pi * 1000 * TIME)
OTHER = 0.1 * VOLTS


@pytest.fixture(autouse=True)
def _here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read in this process: one test below asks that another one does it."""

    readers = {
        numpy_arrays.__name__: numpy_arrays.read_numpy_here,
        matlab_arrays.__name__: matlab_arrays.read_mat_here,
        hdf5_arrays.__name__: hdf5_arrays.read_hdf5_here,
    }

    def here(module: str, path: Path, name: str, table: Table, kind: str) -> TableData:
        return readers[module](path, name, table)

    monkeypatch.setattr(array_tables, "read_apart", here)


def trace(time: str | int, voltage: str | int, raw: RawLayout | None = None, **more: Any) -> Table:
    def column(place: str | int, unit: str, **own: Any) -> TableColumn:
        given = {"name": place} if isinstance(place, str) else {"number": place}
        return TableColumn(unit=unit, **given, **own)  # type: ignore[arg-type]

    columns = {"time": column(time, "s"), "voltage": column(voltage, "V", **more)}
    return Table(table="trace", columns=columns, tone_hz=1000.0, raw=raw)


def assert_read(path: Path, table: Table, remark: str | None = None) -> None:
    data = read_table(path, table)
    assert_allclose(data.columns["time"], TIME, rtol=1e-6, atol=1e-12)
    assert_allclose(data.columns["voltage"], VOLTS, atol=1e-4)
    assert data.remark == remark


@pytest.mark.parametrize("order", ["<f8", ">f8", "<f4"])
def test_a_plain_array_either_way_round(tmp_path: Path, order: str) -> None:
    for array in (np.column_stack([TIME, VOLTS]), np.stack([TIME, VOLTS])):
        np.save(tmp_path / "t.npy", array.astype(order))
        assert_read(tmp_path / "t.npy", trace(1, 2))


def test_named_fields_and_named_arrays(tmp_path: Path) -> None:
    fields = np.zeros(100, dtype=[("t", "f8"), ("CH1 (V)", "f8"), ("CH2", "f8")])
    fields["t"], fields["CH1 (V)"], fields["CH2"] = TIME, VOLTS, OTHER
    np.save(tmp_path / "t.npy", fields)
    extra = "the file holds 1 column not declared here: 'CH2'"
    assert_read(tmp_path / "t.npy", trace("t", "CH1"), extra)
    np.savez_compressed(tmp_path / "t.npz", t=TIME, v=VOLTS, rate=1e5)
    assert_read(tmp_path / "t.npz", trace("t", "v"))


def test_variables_of_a_mat_file(tmp_path: Path) -> None:
    for squeezed in (False, True):
        held = {"t": TIME, "v": VOLTS, "w": OTHER, "note": "bench 2", "s": {"a": 1.0}}
        scipy.io.savemat(tmp_path / "t.mat", held, do_compression=squeezed)
        extra = "the file holds 1 column not declared here: 'w'"
        assert_read(tmp_path / "t.mat", trace("t", "v"), extra)


def test_data_sets_of_an_hdf5_file(tmp_path: Path) -> None:
    h5py = pytest.importorskip("h5py", reason="the extra hdf5 isn't installed")
    with h5py.File(tmp_path / "t.h5", "w") as file:
        file["scope/time"] = TIME
        file.create_dataset("scope/ch1", data=VOLTS, compression="gzip")
        file["link"] = h5py.ExternalLink("/etc/passwd", "/x")
    assert_read(tmp_path / "t.h5", trace("scope/time", "scope/ch1"))


def test_without_h5py_the_remedy_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hdf5_arrays, "LIBRARY", "no_such_library")
    (tmp_path / "t.h5").write_bytes(hdf5_arrays.MAGIC + bytes(100))
    with pytest.raises(UserError) as caught:
        read_table(tmp_path / "t.h5", trace("t", "v"))
    assert "backbench[hdf5]" in str(caught.value.faults[0])


def test_complex_values_are_two_columns(tmp_path: Path) -> None:
    np.savez(tmp_path / "z.npz", f=np.arange(1.0, 9), z=np.full(8, 3 + 4j))
    columns = {"frequency": TableColumn(name="f", unit="Hz")}
    columns |= {key: TableColumn(name=f"z {key}", unit="ohm") for key in ("real", "imaginary")}
    data = read_table(tmp_path / "z.npz", Table(table="impedance", columns=columns))
    assert_allclose(data.columns["magnitude"], 5.0)


@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize("blocks", [False, True])
def test_samples_without_a_header(tmp_path: Path, order: Any, blocks: bool) -> None:
    kind = ("<" if order == "little" else ">") + "i2"
    both = np.column_stack([VOLTS, OTHER]) * 16_384
    counts = np.round(both.T if blocks else both).astype(kind)
    (tmp_path / "t.bin").write_bytes(b"head" + counts.tobytes())
    raw = RawLayout(type="int16", order=order, columns=2, skip_bytes=4, blocks=blocks)
    table = trace(1, 1, raw, factor=1 / 16_384)
    table.columns["time"] = TableColumn(start=0, increment=1e-5, unit="s")
    assert_read(tmp_path / "t.bin", table, "the file holds 1 column not declared here: 2")
    (tmp_path / "t.bin").write_bytes(counts.tobytes() + b"x")
    with pytest.raises(UserError, match=r"can't be read") as caught:
        read_table(tmp_path / "t.bin", table)
    assert "whole rows of 2 values of int16, 4 bytes each" in str(caught.value.faults[0])
    with pytest.raises(UserError) as caught:
        read_table(tmp_path / "t.bin", trace(1, "v", raw))
    assert "no headings" in str(caught.value.faults[0])


def objects() -> bytes:
    file = io.BytesIO()
    np.save(file, np.array([{}, None]), allow_pickle=True)
    return file.getvalue()


def archive(**members: bytes) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as made:
        for name, data in members.items():
            made.writestr(f"{name}.npy", data)
    return file.getvalue()


def lengths() -> bytes:
    file = io.BytesIO()
    np.savez(file, t=TIME, v=VOLTS[:-1])
    return file.getvalue()


@pytest.mark.parametrize(
    ("name", "data", "found"),
    [
        ("t.npy", objects(), "Object arrays cannot be loaded"),
        ("t.npy", b"\x93NUMPY\x01\x00", "damaged"),
        ("t.npz", archive(t=objects()), "Object arrays"),
        ("t.npz", b"PK\x03\x04\x14\x00" + bytes(50), "damaged"),
        ("t.npz", archive(), "no such array"),
        ("t.npz", lengths(), "columns of 99 and 100 values"),
        ("t.mat", b"MATLAB 5.0" + bytes(114) + b"\x00\x01IM" + bytes(40), "MAT"),
    ],
)
def test_what_is_no_array_is_refused(tmp_path: Path, name: str, data: bytes, found: str) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(UserError) as caught:
        read_table(tmp_path / name, trace("t", "v"))
    assert found in str(caught.value.faults[0])


def test_an_archive_that_unfolds_without_end_is_given_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By another process, whose bounds hold for every array that is packed."""
    monkeypatch.undo()
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as made:
        header = io.BytesIO()
        np.lib.format.write_array_header_1_0(
            header, {"descr": "<f8", "fortran_order": False, "shape": (300_000_000,)}
        )
        made.writestr("t.npy", header.getvalue() + bytes(1000))
        made.writestr("v.npy", header.getvalue() + bytes(1000))
    (tmp_path / "t.npz").write_bytes(packed.getvalue())
    with pytest.raises(UserError):
        read_table(tmp_path / "t.npz", trace("t", "v"))
