"""Staged chunks: rows of some captures as Parquet in a folder, until they are loaded.

A chunk is a matter of speed: what a run that broke off had analysed needn't be analysed again. So
nobody waits for the disk. A chunk's name is the checksum of its tables, and one that a power cut
left incomplete is not used.
"""

from __future__ import annotations

import hashlib
import io
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

import polars as pl

from backbench.ingest.reading_rows import CURVE, READING, RESULT
from backbench.storage.atomic_io import PART
from backbench.storage.fault_injection import reached

SCHEMAS = {"reading": READING, "curve": CURVE, "result": RESULT}


def leave_chunk(tables: Mapping[str, bytes], folder: Path) -> Path:
    """Put the Parquet bytes of a chunk's tables into a new folder; the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    aside = Path(tempfile.mkdtemp(suffix=PART, dir=folder))
    for name in SCHEMAS:
        reached("write")
        (aside / f"{name}.parquet").write_bytes(tables[name])
    final = folder / _checksum(tables)
    reached("rename")
    try:
        aside.replace(final)
    except OSError:
        # Another worker may have been first.
        if not final.is_dir():
            raise
        shutil.rmtree(aside, ignore_errors=True)
    return final


def _checksum(tables: Mapping[str, bytes]) -> str:
    digest = hashlib.sha256()
    for name in SCHEMAS:
        digest.update(hashlib.sha256(tables[name]).digest())
    return digest.hexdigest()[:32]


def analyses_of(chunk: Path) -> list[str]:
    """Analyses of a staged chunk; none where it is not whole, or has other columns than now."""
    try:
        tables = {name: (chunk / f"{name}.parquet").read_bytes() for name in SCHEMAS}
    except OSError:
        return []
    if chunk.name != _checksum(tables) or any(
        pl.read_parquet_schema(io.BytesIO(tables[name])) != schema
        for name, schema in SCHEMAS.items()
    ):
        return []
    return list(pl.read_parquet(io.BytesIO(tables["result"]))["analysis_key"])
