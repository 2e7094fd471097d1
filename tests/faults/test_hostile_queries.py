"""Saved queries that write, attach, install, read files, reach out, or never end: refused."""

from __future__ import annotations

import resource
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from backbench.catalogue import Catalogue
from backbench.errors import UserError
from backbench.querying.saved_queries import SavedQuery, load
from backbench.storage import database, query_limits
from fixtures.make_schema import steps, unpacked
from simulated import contents_of

HEADER = """\
-- title: A query
-- question: Does it get away with it?
-- grain: x
-- parameter word: text = ''; any text
-- column x: -; X
"""

REFUSED = [
    "DELETE FROM reading",
    "INSERT INTO reading FROM reading",
    "UPDATE reading SET value = 1",
    "DROP TABLE reading",
    "CREATE TABLE x AS SELECT 1 AS x",
    "CREATE MACRO f() AS 1",
    "SELECT 1 AS x; DELETE FROM reading",
    "COPY reading TO '{folder}/out.csv'",
    "COPY (SELECT 1 AS x) TO '{folder}/out.parquet'",
    "EXPORT DATABASE '{folder}/out'",
    "IMPORT DATABASE '{folder}'",
    "ATTACH '{folder}/other.duckdb'",
    "ATTACH ':memory:' AS other",
    "INSTALL httpfs",
    "LOAD httpfs",
    "LOAD '{folder}/evil.so'",
    "CREATE SECRET s (TYPE s3)",
    "SET enable_external_access = true",
    "SET memory_limit = '64GB'",
    "RESET memory_limit",
    "PRAGMA threads = 64",
    "SELECT getenv('HOME') AS x",
    "SELECT column0 AS x FROM read_csv('{folder}/secret.csv')",
    "SELECT content AS x FROM read_text('{folder}/secret.csv')",
    "SELECT content AS x FROM read_blob('{folder}/secret.csv')",
    "SELECT * AS x FROM read_json('{folder}/secret.csv')",
    "SELECT file AS x FROM glob('{folder}/*')",
    "SELECT Delimiter AS x FROM sniff_csv('{folder}/secret.csv')",
    "SELECT * FROM '{folder}/secret.csv'",
    "SELECT * FROM 'https://localhost:1/x.parquet'",
    "SELECT * FROM read_parquet('https://localhost:1/x.parquet')",
    "SELECT * FROM parameters",
    "SELECT range(1000000000) AS x",
    "SELECT list(x) AS x FROM range(3000000000) AS t(x)",
    "SELECT count(*) AS x FROM range(1000000) AS a, range(1000000) AS b WHERE a.range <> b.range",
    "SELECT range AS x FROM range(3000000000)",
]


@pytest.fixture
def echo(tmp_path: Path) -> SavedQuery:
    (tmp_path / "echo.sql").write_text(HEADER + "SELECT $word AS x ORDER BY x")
    return load([tmp_path])["echo"]


@pytest.mark.parametrize("sql", REFUSED)
def test_a_hostile_statement_is_refused_in_words(
    measured: Catalogue, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, echo: SavedQuery, sql: str
) -> None:
    """Past the header's own check that it is one SELECT: the connection itself refuses."""
    monkeypatch.setattr(query_limits, "LIMIT_S", 1.0)
    (tmp_path / "secret.csv").write_text("hidden\n1\n")
    query = replace(echo, sql=sql.format(folder=tmp_path), parameters=())
    before = measured.readings().height
    with measured.reading() as opened, pytest.raises(UserError) as caught:
        query.run(opened, {})
    assert all("\n" not in str(fault) for fault in caught.value.faults)
    assert "hidden" not in str(caught.value)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["echo.sql", "secret.csv"]
    assert measured.readings().height == before


@pytest.mark.parametrize(
    "sql",
    [
        "SELECT repeat('x', 400000000) AS x",
        "SELECT string_agg(repeat('x', 1000000), '') AS x FROM range(800)",
        "SELECT repeat('x', 10000000) AS x FROM range(80)",
    ],
)
def test_huge_texts_are_stopped_by_a_limit(
    measured: Catalogue, monkeypatch: pytest.MonkeyPatch, echo: SavedQuery, sql: str
) -> None:
    """That of memory; or where the process has free memory of its own left, that of the answer."""
    monkeypatch.setattr(query_limits, "MEMORY_BYTES", 300_000_000)
    before = resource.getrlimit(resource.RLIMIT_AS)
    with (
        measured.reading() as opened,
        pytest.raises(UserError, match=r"of memory|more than 500 MB") as caught,
    ):
        replace(echo, sql=sql, parameters=()).run(opened, {})
    assert "\n" not in str(caught.value.faults[0])
    assert resource.getrlimit(resource.RLIMIT_AS) == before
    assert measured.readings().height > 0


def test_an_answer_of_too_many_bytes_is_refused(
    measured: Catalogue, monkeypatch: pytest.MonkeyPatch, echo: SavedQuery
) -> None:
    monkeypatch.setattr(database, "MAX_BYTES", 1_000_000)
    query = replace(echo, sql="SELECT repeat('x', 2000000) AS x", parameters=())
    with measured.reading() as opened, pytest.raises(UserError, match="more than 1 MB"):
        query.run(opened, {})


def test_the_limit_of_memory_lasts_until_the_last_statement_ends() -> None:
    before = resource.getrlimit(resource.RLIMIT_AS)
    with query_limits.bounded(lambda: None):
        lowered = resource.getrlimit(resource.RLIMIT_AS)
        with query_limits.bounded(lambda: None):
            pass
        assert resource.getrlimit(resource.RLIMIT_AS) == lowered != before
    assert resource.getrlimit(resource.RLIMIT_AS) == before


OVERDUE = """
import sys
from backbench.storage import query_limits
from backbench.cli import main
query_limits.LIMIT_S = query_limits.GRACE_S = 0.1
sys.argv = ["backbench", "query", "huge", "-c", sys.argv[1]]
main()
"""


def test_a_function_that_heeds_no_interruption_ends_the_command_in_words(tmp_path: Path) -> None:
    root = unpacked(steps()[-1], tmp_path)
    (root / "queries").mkdir()
    sql = "SELECT length(repeat($word || 'x', 2000000000)) AS x ORDER BY x"
    (root / "queries" / "huge.sql").write_text(HEADER + sql)
    ran = subprocess.run(
        [sys.executable, "-c", OVERDUE, root], capture_output=True, text=True, check=False
    )
    assert (ran.returncode, ran.stdout) == (1, "")
    assert ran.stderr == "the query was stopped after 200 ms: one function would not end\n"


@pytest.mark.parametrize("sql", [s for s in REFUSED if not s.startswith("SELECT") or ";" in s])
def test_a_file_that_is_not_one_select_is_no_saved_query(tmp_path: Path, sql: str) -> None:
    (tmp_path / "evil.sql").write_text(HEADER + sql)
    with pytest.raises(UserError):
        load([tmp_path])


@pytest.mark.parametrize(
    "value",
    ["'; DELETE FROM reading; --", "' OR 1=1 --", "$word", "\x00", "'' UNION SELECT 1", "\u202e"],
)
def test_a_parameter_stays_a_value(measured: Catalogue, echo: SavedQuery, value: str) -> None:
    before = contents_of(measured.places.root)
    with measured.reading() as opened:
        assert echo.run(opened, {"word": value}).rows() == [(value,)]
    assert contents_of(measured.places.root) == before
