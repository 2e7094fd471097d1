"""Staged rows are loaded in batches of bounded size."""

from __future__ import annotations

from pathlib import Path

import pytest

from backbench.ingest import load


@pytest.mark.parametrize(
    ("sizes", "batches"),
    [
        ([], []),
        ([4, 6], [[4, 6]]),
        ([4, 7], [[4], [7]]),
        ([12, 1, 9, 1], [[12], [1, 9], [1]]),
    ],
)
def test_files_go_in_order_and_within_the_bound(
    sizes: list[int], batches: list[list[int]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(load, "BATCH_BYTES", 10)
    files = [tmp_path / f"{n}.parquet" for n in range(len(sizes))]
    for file, size in zip(files, sizes, strict=True):
        file.write_bytes(bytes(size))
    made = [*load.in_batches(files)]
    assert [[file.stat().st_size for file in batch] for batch in made] == batches
    assert [file for batch in made for file in batch] == files
