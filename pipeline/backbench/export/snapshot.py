"""Read-only snapshots of the database for readers elsewhere: DuckDB, Parquet, and what they are.

A snapshot appears whole under a name of its own and is never changed: who reads one is not
disturbed by later runs. `current` is a link that moves to the newest in one step.
"""

from __future__ import annotations

import datetime as dt
import shutil
import tempfile
from importlib import metadata
from pathlib import Path

from backbench.errors import Fault, UserError
from backbench.export.data_dictionary import TABLES
from backbench.export.open_package import DICTIONARY, dictionary_text, exported_tables
from backbench.storage.atomic_io import flush_file, flush_folder, make_folder, rename
from backbench.storage.catalogue_paths import CataloguePaths
from backbench.storage.database import DATABASE_NAME, MAKING, Database, copy_database, reading_copy
from backbench.storage.lock import Held, held

CURRENT = "current"
NAME = "snapshot-"
LOCK = ".lock"
README = """\
# {title}: a snapshot
Made {made} by backbench {backbench}, DuckDB {duckdb}. It is never changed: a newer one is a folder
beside it, and the link `../{current}` leads to the newest. Follow the link once, so that all that
you read is of one moment. Old snapshots stay until you remove them.

- `{database}`: every table and view, for DuckDB; open it read-only
- `parquet/`: one file a table, for any engine
- `{dictionary}`: what every column means, and in which unit

A reading without a value has a status and a reason. Compare readings of one method version only.

## Schema
| step | file | sha256 |
| --- | --- | --- |
{steps}

## Tables
| table | rows | what it holds |
| --- | --- | --- |
{tables}

## Methods
| metric | unit | method version |
| --- | --- | --- |
{methods}
"""


def write_snapshot(source: CataloguePaths, folder: Path) -> Path:
    """Add a snapshot of the catalogue's database to a folder, and lead `current` to it.

    The catalogue may be in use: writers wait while the file is copied. Returns the snapshot's
    own folder. Raises UserError where the folder holds something else, another process writes
    there, there is no database, or the disk doesn't take it.
    """
    _refuse_empty(source)
    _refuse_stranger(folder)
    make_folder(folder)
    try:
        with held(folder / LOCK, 0):
            for left in folder.glob(f"{MAKING}*"):
                shutil.rmtree(left)
            return _added(source, folder)
    except Held:
        fault = Fault(
            str(folder),
            "another process that writes a snapshot",
            "one process at a time",
            "try again later",
        )
        raise UserError("a snapshot is being written there", [fault]) from None


def _added(source: CataloguePaths, folder: Path) -> Path:
    numbers = [int(path.name.removeprefix(NAME)) for path in folder.glob(f"{NAME}[0-9]*")]
    final = folder / f"{NAME}{max(numbers, default=0) + 1:06d}"
    with tempfile.TemporaryDirectory(prefix=MAKING, dir=folder) as making:
        aside = Path(making) / final.name
        _fill(source, aside)
        rename(aside, final)
        link = Path(making) / CURRENT
        link.symlink_to(final.name)
        rename(link, folder / CURRENT)
    return final


def _fill(source: CataloguePaths, aside: Path) -> None:
    """All files of a snapshot, on the disk and read-only. The tables come from the copy itself."""
    (aside / "parquet").mkdir(parents=True)
    copy_database(source.root, aside)
    with reading_copy(aside) as store:
        tables = exported_tables(store)
        rows = {t: store.write_parquet(t, aside / "parquet" / f"{t}.parquet") for t in tables}
        empty = {table: store.frame(f"FROM {table} LIMIT 0") for table in tables}
        title = source.settings.title
        (aside / DICTIONARY).write_text(dictionary_text(empty, title), encoding="utf-8")
        (aside / "README.md").write_text(_readme(store, title, rows), encoding="utf-8")
    for path in aside.rglob("*"):
        if path.is_file():
            path.chmod(0o444)
            flush_file(path)
    flush_folder(aside / "parquet")
    flush_folder(aside)


def _readme(store: Database, title: str, rows: dict[str, int]) -> str:
    steps = store.rows("SELECT number, name, checksum FROM migration ORDER BY number")
    methods = store.rows("SELECT metric, unit, method_version FROM metric ORDER BY metric")
    return README.format(
        title=title, made=f"{dt.datetime.now(dt.UTC):%Y-%m-%d %H:%M} UTC",
        backbench=metadata.version("backbench"), duckdb=metadata.version("duckdb"),
        current=CURRENT, database=DATABASE_NAME, dictionary=DICTIONARY,
        steps=_lines(steps), methods=_lines(methods),
        tables=_lines([(table, n, TABLES.get(table, "")) for table, n in rows.items()]),
    )  # fmt: skip


def _lines(rows: list[tuple[object, ...]]) -> str:
    return "\n".join(f"| {' | '.join(map(str, row))} |" for row in rows)


def _refuse_empty(source: CataloguePaths) -> None:
    path = source.database / DATABASE_NAME
    if not path.exists():
        fault = Fault(str(path), "no database", "a catalogue with reviews", "ingest one first")
        raise UserError("the catalogue is empty", [fault])


def _refuse_stranger(folder: Path) -> None:
    """The folder must be new, empty, or hold snapshots and what a broken one left."""
    if not folder.exists():
        return
    known = (CURRENT, LOCK, NAME, MAKING)
    strange = [folder] if not folder.is_dir() else [
        path for path in folder.iterdir() if not path.name.startswith(known)
    ]  # fmt: skip
    if strange:
        fault = Fault(
            str(strange[0]), "a file that is no snapshot", "a new or empty folder, or snapshots"
        )
        raise UserError("the snapshot can't be written", [fault])
