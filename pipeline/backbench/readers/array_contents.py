"""What a file of arrays holds, before anything of it is declared."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

from backbench.documents.regular_files import open_regular, reason_of
from backbench.readers.declaration import ArrayContents, ContentsReader
from backbench.readers.file_formats import unreadable
from backbench.readers.limited_process import TookTooMuch, read_in_process, serve
from backbench.readers.tables_apart import TableReader, table_bytes


def contents_apart(module: str, path: Path, name: str, kind: str, most_bytes: int) -> ArrayContents:
    """What the file holds, by a module that calls `serve_arrays` when it is run."""
    request = {"path": str(path), "name": name, "table": None}
    try:
        with open_regular(path, most_bytes):
            held = json.loads(read_in_process(module, request))
    except OSError as error:
        expected = f"a file of at most {most_bytes} bytes"
        raise unreadable(name, reason_of(error), expected) from None
    except TookTooMuch as error:
        expected = "a table that unfolds to at most 1 GiB in 30 s"
        raise unreadable(name, f"{kind} that was given up: {error}", expected) from None
    return ArrayContents(**{key: tuple(map(tuple, parts)) for key, parts in held.items()})


def serve_arrays(read: TableReader, contents: ContentsReader) -> None:
    """Answer one request, for declared columns or for what there is: the other process's work."""

    def answer(request: dict[str, Any]) -> bytes:
        if request["table"] is not None:
            return table_bytes(request, read)
        held = contents(Path(request["path"]), request["name"])
        return json.dumps(asdict(held)).encode()

    serve(answer)
