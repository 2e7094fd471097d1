"""Whatever a user keeps is written whole or not at all: every opening for writing is known."""

from __future__ import annotations

import ast
import os
import re
import shutil
from collections.abc import Iterable, Iterator
from pathlib import Path

import altair as alt
import numpy as np
import polars as pl
import pytest

from backbench.bench_day.stimuli_writing import Format, NewFiles
from backbench.charts.image_export import save
from backbench.commands.backfill import _write_problems
from backbench.errors import UserError
from backbench.export.open_package import PARTS, export_catalogue
from backbench.reports.export_formats import export
from backbench.storage import database, fault_injection
from backbench.storage.atomic_io import ASIDE, write_text_file, write_user_file
from source_trees import nodes

PACKAGE = Path(__file__).parents[2] / "pipeline" / "backbench"
METHODS = {
    "write_text", "write_bytes", "touch", "tofile", "save", "savez", "savez_compressed", "savetxt",
    "write_parquet", "write_csv", "write_json", "write_ndjson", "write_excel", "write_ipc",
    "write_avro", "write_delta", "to_csv", "to_parquet", "sink_parquet", "sink_csv", "sink_ipc",
    "sink_ndjson", "copy2", "copyfile", "copyfileobj", "copytree", "move", "dump", "put_file",
    "extractall", "make_archive", "truncate",
}  # fmt: skip
"""Names of functions that write to the file that they are given, whatever library has them."""
OPENERS = {
    "open", "fdopen", "SoundFile", "ZipFile", "TarFile", "GzipFile", "FileIO", "writeframes",
    "NamedTemporaryFile", "File", "memmap",
}  # fmt: skip
"""Functions that open for writing where a mode says so."""
OF_ONE = {"write": "soundfile", "copy": "shutil", "connect": "sqlite3"}
"""Functions that write a file where they are of one module, and elsewhere something else."""
MODE = re.compile(r"[rwxa][bt+]{0,2}([:|](gz|bz2|xz|zst)?)?")
WRITING = re.compile(r"[wxa+]")
STATEMENT = re.compile(r"\b(COPY\b.*\bTO|EXPORT DATABASE)\b", re.DOTALL | re.IGNORECASE)
FLAGS = {"O_WRONLY", "O_RDWR", "O_CREAT", "O_TRUNC", "O_APPEND"}

KNOWN = {
    "storage/atomic_io.py write_aside": "the atomic writer itself",
    "storage/atomic_io.py write_user_file": "a pipe or a terminal, which can't be renamed to",
    "storage/rows_aside.py rows_aside": "rows in a folder that is thrown away",
    "storage/database.py copy_database": "into a folder aside",
    "storage/database.py write_parquet": "into a folder aside",
    "storage/vault.py _keep": "aside, hashed and renamed",
    "storage/catalogue_paths.py changing": "who holds the lock, for a message alone",
    "storage/lock.py _taken": "a file without content, for its lock",
    "ingest/staging.py leave_chunk": "a folder aside, renamed when it is whole",
    "bench_day/cut_run.py _write": "aside, flushed and renamed: longer than memory should hold",
    "export/open_package.py _write": "into a folder aside",
    "export/snapshot.py _fill": "into a folder aside",
    "publish/output_files.py write": "aside, flushed and renamed",
    "publish/output_files.py make": "into the site that is made aside",
    "publish/output_files.py link": "into the site that is made aside",
    "publish/browser.py printed": "a page for the browser, thrown away",
    "publish/browser.py made_by_script": "a page for the browser, thrown away",
    "orchestration/run_server.py _copy_prepared": "aside and renamed; a run history can be lost",
    "orchestration/run_server.py _keep_prepared": "aside and renamed; a matter of speed alone",
    "orchestration/shared_originals.py _bring": "to other storage, hashed before it is used",
    "orchestration/shared_originals.py fetch": "hashed before it is used",
    "metrics/reference_page.py": "a page of this repository, made by its developers",
    "metrics/reference_page.py write_tables": "tables of this repository, made by its developers",
    "export/file_reference.py": "a page of this repository, made by its developers",
}
"""Functions that write by other ways than the atomic writer, and why."""


def module(path: Path) -> ast.Module:
    root = nodes(path)[0]
    assert isinstance(root, ast.Module)
    return root


def name_of(call: ast.Call) -> str:
    if isinstance(call.func, ast.Attribute):
        return call.func.attr
    return call.func.id if isinstance(call.func, ast.Name) else ""


def in_memory(within: Iterable[ast.AST]) -> set[str]:
    """Names that stand for buffers in a function."""
    return {
        target.id
        for node in within
        if isinstance(node, ast.Assign)
        and isinstance(node.value, ast.Call)
        and name_of(node.value) in {"BytesIO", "StringIO"}
        for target in node.targets
        if isinstance(target, ast.Name)
    }


def opens(call: ast.Call, buffers: set[str]) -> bool:
    """Whether a call opens a file for writing, or writes one."""
    name = name_of(call)
    words = [*call.args, *(word.value for word in call.keywords)]
    if words and isinstance(words[0], ast.Name) and words[0].id in buffers:
        return False
    if name in OPENERS:
        return any(
            isinstance(word, ast.Constant) and isinstance(word.value, str)
            and MODE.fullmatch(word.value) and WRITING.search(word.value)
            for word in words
        ) or any(flag in ast.unparse(call) for flag in FLAGS)  # fmt: skip
    if not isinstance(call.func, ast.Attribute):
        return False
    if name in OF_ONE:
        return ast.unparse(call.func.value) == OF_ONE[name] and "mode=ro" not in ast.unparse(call)
    # Without a file these give text.
    return name in METHODS and bool(words or name not in {"write_csv", "write_json"})


def writing(module: ast.Module) -> Iterator[str]:
    """The functions of a module that open files for writing, or whose SQL does; "" for itself."""
    every = list(ast.walk(module))
    functions = [
        (node.name, list(ast.walk(node))) for node in every
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]  # fmt: skip
    inside = {id(node) for _, within in functions for node in within}
    beside = [node for node in every if id(node) not in inside]
    for name, within in [("", beside), *functions]:
        buffers = in_memory(within)
        docs = {id(node.value) for node in within if isinstance(node, ast.Expr)}
        for node in within:
            if isinstance(node, ast.Call) and opens(node, buffers):
                yield name
            elif (
                isinstance(node, ast.Constant) and isinstance(node.value, str)
                and id(node) not in docs and STATEMENT.search(node.value)
            ):  # fmt: skip
                yield name


def of_lines(lines: str) -> set[str]:
    return set(writing(ast.parse(f"def f():\n    {lines}")))


CANDIDATE = re.compile(rf"\b({'|'.join(sorted({*METHODS, *OPENERS, *OF_ONE}))})\b")


def may_write(path: Path) -> bool:
    """Whether any name that may write, or a statement that does, stands in a file."""
    text = path.read_text(encoding="utf-8")
    return bool(CANDIDATE.search(text) or STATEMENT.search(text))


def test_every_opening_for_writing_is_known() -> None:
    found = {
        f"{path.relative_to(PACKAGE)} {name}".strip()
        for path in sorted(PACKAGE.rglob("*.py"))
        if may_write(path)
        for name in writing(module(path))
    }
    assert found == KNOWN.keys()


@pytest.mark.parametrize(
    "line",
    [
        "p.write_text('')", "open(p, 'w')", "p.open(mode='ab')", "open(p, 'r+b')",
        "soundfile.write(p, x, 48000)", "SoundFile(p, 'w', 48000, 1)", "np.save(p, x)",
        "np.savez(p, x=x)", "zipfile.ZipFile(p, 'w')", "tarfile.open(p, 'w:gz')",
        "frame.write_parquet(p)", "frame.write_csv(p)", "frame.lazy().sink_parquet(p)",
        "store.run(f\"COPY reading TO '{p}' (FORMAT csv)\")", "con.sql('EXPORT DATABASE p')",
        "shutil.copy(a, b)", "shutil.copyfile(a, b)", "shutil.move(a, b)", "image.save(p)",
        "sqlite3.connect(p)", "os.open(p, os.O_WRONLY | os.O_CREAT)", "x.tofile(p)",
        "json.dump(x, stream)",
    ],
)  # fmt: skip
def test_every_way_to_write_is_noticed(line: str) -> None:
    assert of_lines(line) == {"f"}
    assert set(writing(ast.parse(line))) == {""}


@pytest.mark.parametrize(
    "line",
    [
        "p.open('rb')", "open(p)", "b = io.BytesIO(); frame.write_csv(b)", "frame.write_csv()",
        "stream.write(x)", "zipfile.ZipFile(p)", "os.open(p, os.O_RDONLY)", "x.copy()",
        "b = io.BytesIO(); soundfile.write(b, x, 48000)", "store.run('SELECT copy FROM t')",
    ],
)  # fmt: skip
def test_reading_and_memory_are_no_writing(line: str) -> None:
    assert not of_lines(line)


def test_a_write_that_fails_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = {
        "plan.toml": lambda path: write_text_file(path, "new"),
        "sweep.wav": lambda path: stimulus_file(path).write(),
        "answer.csv": lambda path: export(pl.DataFrame({"x": [1]}), "csv", path),
        "chart.svg": lambda path: save(alt.Chart(pl.DataFrame({"x": [1]})).mark_point(), path),
        "problems.csv": lambda path: _write_problems([], path),
    }
    monkeypatch.setenv(fault_injection.VARIABLE, "flush:1+:ENOSPC")
    for name, write in kept.items():
        path = tmp_path / name
        path.write_text("what was there")
        with pytest.raises((OSError, UserError)):
            write(path)
        assert path.read_text() == "what was there"
    assert {path.name for path in tmp_path.iterdir()} == kept.keys()


def stimulus_file(path: Path) -> NewFiles:
    files = NewFiles(Format(48_000, 24))
    files.replace(path, np.zeros(100))
    return files


def test_a_file_of_the_user_keeps_its_link_and_mode_and_a_pipe_stays(tmp_path: Path) -> None:
    file, link, pipe = tmp_path / "file", tmp_path / "link", tmp_path / "pipe"
    file.write_text("")
    file.chmod(0o600)
    link.symlink_to(file)
    write_user_file(link, b"through a link")
    assert link.is_symlink()
    assert (file.read_bytes(), file.stat().st_mode & 0o777) == (b"through a link", 0o600)
    os.mkfifo(pipe)
    reading = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    write_user_file(pipe, b"into a pipe")
    assert os.read(reading, 100) == b"into a pipe"
    os.close(reading)
    assert pipe.is_fifo()


def test_an_export_that_fails_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "opened"
    (tmp_path / "catalogue").mkdir()
    with database.writing(tmp_path / "catalogue") as store:
        fault_injection.passed.clear()
        monkeypatch.setenv(fault_injection.VARIABLE, "write:5:ENOSPC")
        with pytest.raises(OSError, match="No space"):
            export_catalogue(store, folder, "T")
        assert not [path for path in tmp_path.iterdir() if path.name != "catalogue"]
        monkeypatch.delenv(fault_injection.VARIABLE)
        folder.mkdir()
        assert export_catalogue(store, folder, "T")
    assert (folder / "datapackage.json").is_file()


@pytest.mark.parametrize("where", ["the folder that one is in", "a link to a folder"])
def test_an_export_into_an_empty_folder_leaves_it_where_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    folder, link = tmp_path / "opened", tmp_path / "link"
    folder.mkdir()
    link.symlink_to(folder)
    (folder / ASIDE).mkdir()  # of an earlier run that was ended
    monkeypatch.chdir(folder)
    kept = folder.stat().st_ino
    with database.writing(tmp_path) as store:
        export_catalogue(store, link if "link" in where else Path(), "T")
    assert (folder.stat().st_ino, link.is_symlink()) == (kept, True)
    made = {"parquet", "csv", "DICTIONARY.md", "datapackage.json"}
    assert {path.name for path in folder.iterdir()} == made


def test_an_export_that_was_ended_while_it_moved_in_is_made_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, whole = tmp_path / "opened", tmp_path / "whole"
    with database.writing(tmp_path) as store:
        export_catalogue(store, whole, "T")
        held = tree(whole)
        for moved in range(len(PARTS) + 1):
            shutil.rmtree(folder, ignore_errors=True)
            shutil.copytree(whole, folder / ASIDE)
            for name in PARTS[:moved]:
                (folder / ASIDE / name).rename(folder / name)
            if moved == len(PARTS):
                # All had been moved: it is an export, and stays.
                with pytest.raises(UserError, match="new or empty"):
                    export_catalogue(store, folder, "other")
            else:
                (folder / "notes.txt").write_text("of the user")
                before = tree(folder)
                with pytest.raises(UserError, match="new or empty"):
                    export_catalogue(store, folder, "T")
                assert tree(folder) == before
                (folder / "notes.txt").unlink()
                export_catalogue(store, folder, "T")
            assert tree(folder) == held, moved
        shutil.rmtree(folder)
        folder.mkdir()
        fault_injection.passed.clear()
        monkeypatch.setenv(fault_injection.VARIABLE, "rename:5:EIO")
        with pytest.raises(OSError, match="Input/output"):
            export_catalogue(store, folder, "T")
        assert not list(folder.iterdir())


def tree(folder: Path) -> dict[str, bytes]:
    """Every file with what it holds; a folder with nothing."""
    return {
        str(path.relative_to(folder)): path.read_bytes() if path.is_file() else b""
        for path in folder.rglob("*")
    }
