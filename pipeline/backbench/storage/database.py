"""The catalogue's DuckDB file: opened late, closed early; the one place that knows DuckDB."""

from __future__ import annotations

import re
import shutil
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

import duckdb

from backbench.errors import Fault, UserError
from backbench.quantities.writing import in_text
from backbench.storage import query_limits, schema_steps
from backbench.storage.atomic_io import flush_file, rename
from backbench.storage.fault_injection import reached
from backbench.storage.light_rows import LightRows, as_light, is_altered
from backbench.storage.lock import Held, held
from backbench.storage.query_limits import bounded
from backbench.storage.rows_aside import rows_aside
from backbench.storage.schema_steps import checksum, migrations

if TYPE_CHECKING:
    import polars as pl

DATABASE_NAME = "catalogue.duckdb"
PATIENCE_S = 10.0
GATE = ".gate"
IN_USE = "the catalogue is in use"
CANT_OPEN = "the database can't be opened"
MAKING = ".making-"
"""Beginning of the name of a folder with a database that is not whole yet."""
DISK_ERRORS = (
    duckdb.IOException, duckdb.FatalException, duckdb.TransactionException,
    duckdb.InternalException,
)  # fmt: skip
"""What DuckDB raises where the disk fails it, or its file is not what it was."""
MAX_ROWS = 5_000_000
MAX_BYTES = 500_000_000
OFFLINE: dict[str, Any] = {"autoinstall_known_extensions": False}
"""Settings of every connection: DuckDB fetches nothing from the network."""
WRITER: dict[str, Any] = {**OFFLINE, "memory_limit": "500MB"}
"""Settings of the writer: what doesn't fit lies in a folder beside the database for as long."""
LEAN_WRITER: dict[str, Any] = {**WRITER, "memory_limit": "150MB"}
"""Those beside which the plans of many reviews are held; what needs more raises OutOfMemory."""
READER: dict[str, Any] = {
    **OFFLINE,
    "enable_external_access": False,
    "python_enable_replacements": False,
    "autoload_known_extensions": False,
    "allow_community_extensions": False,
    "memory_limit": "2GB",
    "temp_directory": "",
    "lock_configuration": True,
}
"""Settings of a reader: no file, no network, no extension, no variable of ours, bounded memory."""
StatementError: TypeAlias = duckdb.Error
"""What the methods of a Database raise where a statement can't be run."""
OutOfMemory: TypeAlias = duckdb.OutOfMemoryException
"""The StatementError of one that needs more memory than its connection has."""


class Database:
    """An open connection. Rows come back as polars frames or tuples."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, *, limited: bool = False) -> None:
        """limited: a statement is held to `storage.query_limits`, MAX_ROWS and MAX_BYTES."""
        self._connection, self._limited = connection, limited

    def run(self, sql: str, parameters: Sequence[object] | Mapping[str, object] = ()) -> None:
        """Execute a statement and forget its result."""
        reached("statement")
        self._connection.execute(sql, parameters).fetchall()

    def rows(
        self, sql: str, parameters: Sequence[object] | Mapping[str, object] = ()
    ) -> list[tuple[Any, ...]]:
        """All rows of a query, as tuples."""
        with self._watched():
            return self._connection.execute(sql, parameters).fetchall()

    def records(
        self, sql: str, parameters: Sequence[object] | Mapping[str, object] = ()
    ) -> list[dict[str, Any]]:
        """All rows of a query, by column."""
        with self._watched():
            done = self._connection.execute(sql, parameters)
            names = [str(column[0]) for column in done.description or ()]
            return [dict(zip(names, row, strict=True)) for row in done.fetchall()]

    def frame(
        self, sql: str, parameters: Sequence[object] | Mapping[str, object] = ()
    ) -> pl.DataFrame:
        """All rows of a query, as a frame."""
        with self._watched():
            relation = self._relation(sql, parameters)
            if not self._limited:
                return _as_frame(relation)
            answer = relation.limit(MAX_ROWS + 1).materialize()
        return _limited_frame(answer)

    def answer(
        self, sql: str, parameters: Sequence[object] | Mapping[str, object] = ()
    ) -> LightRows | pl.DataFrame:
        """All rows of a query: light where they are few and of plain types, else a frame."""
        with self._watched():
            rows = self._relation(sql, parameters).limit(MAX_ROWS + 1).materialize()
            light = as_light(rows)
        return _limited_frame(rows) if light is None else light

    def _relation(
        self, sql: str, parameters: Sequence[object] | Mapping[str, object]
    ) -> duckdb.DuckDBPyRelation:
        relation = self._connection.sql(sql, params=parameters or None)
        if isinstance(relation, duckdb.DuckDBPyRelation):
            return relation
        raise duckdb.InvalidInputException("a statement that gives no rows")

    @contextmanager
    def _watched(self) -> Iterator[None]:
        """Stop a statement that takes too much. Raises a StatementError then."""
        if not self._limited:
            yield
            return
        with bounded(self._connection.interrupt) as late:
            try:
                yield
            except (duckdb.Error, MemoryError) as error:
                if late.is_set():
                    message = f"stopped after {in_text(query_limits.LIMIT_S, 's')}: ask for less"
                    raise duckdb.InterruptException(message) from error
                if isinstance(error, MemoryError | duckdb.OutOfMemoryException):
                    message = (
                        f"stopped at {in_text(query_limits.MEMORY_BYTES / 1e9, 'GB')} of memory: "
                        "ask for less"
                    )
                    raise duckdb.OutOfMemoryException(message) from error
                raise

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All or nothing."""
        self._connection.execute("BEGIN")
        try:
            yield
        except BaseException:
            self._connection.execute("ROLLBACK")
            raise
        reached("commit")
        self._connection.execute("COMMIT")
        reached("committed")

    def load_parquet(self, table: str, paths: Sequence[Path]) -> None:
        """Append staged Parquet files to a table, columns matched by name."""
        if paths:
            self.run(
                f"INSERT INTO {table} BY NAME SELECT * FROM read_parquet($paths)",
                {"paths": [str(path) for path in paths]},
            )

    def write_parquet(self, table: str, path: Path) -> int:
        """Write a table or view as a new Parquet file, row by row; how many there are."""
        reached("write")
        self._connection.sql(f"FROM {table}").write_parquet(str(path))
        ((rows,),) = self.rows(f"SELECT count(*) FROM {table}")
        return int(rows)

    def append(self, table: str, rows: Sequence[Mapping[str, object]]) -> None:
        """Append rows to a table by way of a Parquet file, columns matched by name."""
        if rows:
            with rows_aside(rows) as path:
                self.load_parquet(table, [Path(path)])

    def tables(self) -> list[str]:
        """Names of all tables, sorted."""
        tables = self.rows("SELECT table_name FROM duckdb_tables() ORDER BY table_name")
        return [name for (name,) in tables]


@contextmanager
def writing(folder: Path, *, lean: bool = False) -> Iterator[Database]:
    """The one writer of a catalogue's database, brought up to the newest schema.

    lean: with the memory of LEAN_WRITER.
    Raises UserError where another process holds the file for longer than PATIENCE_S, or where
    the database is newer than this program.
    """
    path = folder / DATABASE_NAME
    if not path.exists():
        _make(path)
    with _connected(path, read_only=False, config=LEAN_WRITER if lean else WRITER) as store:
        migrate(store)
        yield store


def _make(path: Path) -> None:
    """A new database appears with its whole schema, or not at all."""
    with tempfile.TemporaryDirectory(prefix=MAKING, dir=path.parent) as aside:
        with _connected(Path(aside) / DATABASE_NAME, read_only=False, config=OFFLINE) as store:
            migrate(store)
        take_place(Path(aside), path.parent)


def take_place(aside: Path, folder: Path) -> None:
    """Put the closed database in one folder in the place of the one in another.

    DuckDB would read the log of unfinished writes that lies beside a database into whatever
    bears the database's name: the old one's log is worked in, or goes, before the new one comes.
    """
    new, old = aside / DATABASE_NAME, folder / DATABASE_NAME
    _work_in_log(new)
    if old.exists() and _log(old).exists():
        try:
            _work_in_log(old)
        except UserError as error:
            if error.what != CANT_OPEN:
                raise
            # What can't be opened is worth no more with its log than without.
            old.unlink()
    _log(old).unlink(missing_ok=True)
    flush_file(new)
    rename(new, old)


def _work_in_log(database: Path) -> None:
    """Bring a closed database's log into its file. Raises UserError where the disk won't have it.

    Closing does so too, but keeps silent where it fails.
    """
    if _log(database).exists():
        with _connected(database, read_only=False, config=OFFLINE) as store:
            store.run("CHECKPOINT")
    if _log(database).exists():
        fault = Fault(str(_log(database)), "a log that stays", "a disk that takes what is written")
        raise UserError("the database can't be written", [fault])


def copy_database(folder: Path, aside: Path) -> None:
    """Copy the database with its log to another folder, while writers wait. Raises UserError.

    Both files are opened before either is closed: closing a file lets go of the lock that
    DuckDB's connection in this process has on it.
    """
    path = folder / DATABASE_NAME
    with _connected(path, read_only=True, config=OFFLINE), ExitStack() as opened:
        files = [file for file in (path, _log(path)) if file.exists()]
        streams = [opened.enter_context(file.open("rb")) for file in files]
        for file, stream in zip(files, streams, strict=True):
            reached("write")
            with (aside / file.name).open("wb") as copy:
                shutil.copyfileobj(stream, copy, 1 << 20)
    _work_in_log(aside / DATABASE_NAME)


def _log(database: Path) -> Path:
    return database.with_name(database.name + ".wal")


def _limited_frame(answer: duckdb.DuckDBPyRelation) -> pl.DataFrame:
    """Rows that are there. Raises a StatementError for too many, or for too large ones."""
    # Outside the limit of memory: polars ends the process where it gets none.
    frame = _as_frame(answer)
    if frame.height > MAX_ROWS:
        raise duckdb.OutOfRangeException(f"more than {MAX_ROWS} rows")
    if frame.estimated_size() > MAX_BYTES:
        raise duckdb.OutOfRangeException(f"more than {in_text(MAX_BYTES / 1e6, 'MB')}")
    return frame


def _as_frame(relation: duckdb.DuckDBPyRelation) -> pl.DataFrame:
    """The rows of a relation. Raises duckdb.NotSupportedError for a type that frames don't have."""
    import polars as pl

    try:
        if any(map(is_altered, relation.types)):
            raise pl.exceptions.SchemaError
        return pl.DataFrame(relation)
    except (pl.exceptions.PanicException, pl.exceptions.PolarsError):
        types = ", ".join(sorted({str(kind) for kind in relation.types}))
        raise duckdb.NotSupportedError(
            f"a column of a type that can't be shown, among {types}: write CAST(column AS VARCHAR)"
        ) from None


@contextmanager
def reading(folder: Path) -> Iterator[Database]:
    """A read-only connection with no file or network access: what saved queries run on.

    Raises UserError as `writing` does, and where there is no database yet.
    """
    path = folder / DATABASE_NAME
    if not path.exists():
        fault = Fault(str(path), "no database", "a catalogue with reviews", "ingest one first")
        raise UserError("the catalogue is empty", [fault])
    with _connected(path, read_only=True, config=READER) as store:
        schema_steps.refuse_older(_refuse_newer(store), migrations(), DATABASE_NAME)
        yield store


@contextmanager
def reading_copy(folder: Path) -> Iterator[Database]:
    """A read-only connection to a copy that nobody writes, leaving no file beside it.

    It may write other files, as the program's own exports do: no query from elsewhere runs here.
    """
    with _connected(folder / DATABASE_NAME, read_only=True, config=OFFLINE) as store:
        (folder / GATE).unlink(missing_ok=True)
        yield store


@contextmanager
def _connected(path: Path, *, read_only: bool, config: dict[str, Any]) -> Iterator[Database]:
    with _in_turn(path):
        connection = _patiently(path, read_only, config)
    try:
        yield Database(connection, limited=config is READER)
    except DISK_ERRORS as error:
        fault = Fault(str(path), str(error).splitlines()[0], "a disk that takes what is written")
        raise UserError("the database can't be used", [fault]) from error
    finally:
        reached("close")
        connection.close()
        reached("closed")


@contextmanager
def _in_turn(path: Path) -> Iterator[None]:
    """Whoever waits for the database holds the gate: a stream of readers lets a writer in."""
    with ExitStack() as gate:
        # Held too long, or a folder that can't be written: opening will say what is the matter.
        with suppress(Held, OSError):
            gate.enter_context(held(path.with_name(GATE), PATIENCE_S))
        yield


def _patiently(path: Path, read_only: bool, config: dict[str, Any]) -> duckdb.DuckDBPyConnection:
    """Connect; while another process holds the file, wait, then say which one."""
    give_up, replayed = time.monotonic() + PATIENCE_S, False
    while True:
        try:
            return duckdb.connect(path, read_only=read_only, config=config)
        except duckdb.Error as error:
            if "replaying WAL" in str(error) and not replayed:
                replayed = _replayed(path)
                continue
            if not (isinstance(error, duckdb.IOException) and "lock on file" in str(error)):
                found, remedy = str(error).splitlines()[0], "make it anew: `backbench rebuild`"
                fault = Fault(str(path), found, "a DuckDB file that can be opened", remedy)
                raise UserError(CANT_OPEN, [fault]) from None
            if time.monotonic() > give_up:
                raise UserError(IN_USE, [_holder(path, str(error))]) from None
            time.sleep(0.05)


def _replayed(path: Path) -> bool:
    """Bring an ended process's log into its database, where opening it directly can't.

    DuckDB replays a log before its own functions are there, which a changed view needs: in one that
    is attached to a running one they are at hand.
    """
    with duckdb.connect(config=OFFLINE) as running, suppress(duckdb.Error):
        running.execute("ATTACH $path AS replayed", {"path": str(path)})
        running.execute("CHECKPOINT replayed")
    return True


def _holder(path: Path, message: str) -> Fault:
    """DuckDB names the process that holds the file; say it in one line."""
    match = re.search(r"held in (.*?) \(PID (\d+)\)", message)
    who = f"process {match[2]} ({Path(match[1]).name})" if match else "another process"
    return Fault(str(path), f"held by {who}", "a free catalogue", "try again when it has ended")


def migrate(store: Database) -> None:
    """Apply the migrations that are missing, each with its record in one transaction."""
    store.run(schema_steps.LEDGER_OF_MIGRATIONS)
    applied = _refuse_newer(store)
    for number, name, text in migrations():
        if number not in applied:
            with store.transaction():
                store.run(text)
                store.run("INSERT INTO migration VALUES (?, ?, ?)", [number, name, checksum(text)])


def _refuse_newer(store: Database) -> dict[int, str]:
    """Checksums of applied migrations. Raises UserError where one is unknown or differs."""
    try:
        recorded = store.rows("SELECT number, checksum FROM migration")
    except duckdb.CatalogException:
        fault = Fault(DATABASE_NAME, "no record of a schema", "a database of backbench")
        raise UserError("the database can't be opened", [fault]) from None
    applied = {int(number): str(kept) for number, kept in recorded}
    schema_steps.refuse_strange(applied, migrations(), DATABASE_NAME)
    return applied
