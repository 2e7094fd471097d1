"""A process that ended between a change of schema and its writing into the database's file."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from backbench.storage.database import DATABASE_NAME, reading, writing
from backbench.storage.schema_steps import migrations

CUT_OFF = """
import os, sys
from pathlib import Path
from backbench.storage import database
connected = database._connected
folder = Path(sys.argv[1])
with connected(folder / database.DATABASE_NAME, read_only=False, config=database.OFFLINE) as store:
    store.run("SET wal_autocheckpoint = '1TB'")
    database.migrate(store)
    os._exit(9)
"""


@pytest.mark.parametrize("first", ["reading", "writing"])
def test_a_schema_that_stands_in_the_log_alone_is_read(tmp_path: Path, first: str) -> None:
    done = subprocess.run([sys.executable, "-c", CUT_OFF, tmp_path], check=False)
    log = tmp_path / f"{DATABASE_NAME}.wal"
    assert (done.returncode, log.exists()) == (9, True)
    with {"reading": reading, "writing": writing}[first](tmp_path) as store:
        steps = store.rows("SELECT count(*) FROM migration")
    assert steps == [(len(migrations()),)]
    assert not log.exists()
