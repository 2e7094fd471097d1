"""Answers of every type of the database, in every format: written, or refused in words."""

from __future__ import annotations

from pathlib import Path

import pytest

from backbench.catalogue import Catalogue
from backbench.errors import UserError
from backbench.reports.export_formats import FORMATS, export
from backbench.storage import database
from faults.small_catalogue import small_catalogue, write_review

WRITTEN = [
    "true", "1::TINYINT", "170141183460469231731687303715884105727::HUGEINT",
    "1.5::DECIMAL(38,10)", "1.5::FLOAT", "DATE '2024-01-01'", "TIME '12:00:00'",
    "TIMESTAMP '2024-01-01 00:00:00'", "TIMESTAMP_NS '2024-01-01 00:00:00'",
    "TIMESTAMPTZ '2024-01-01 00:00:00+00'", "uuid()", "[1,2]", "[1,2]::INT[2]",
    "{'a':1,'b':[1,2]}", "'a'::ENUM('a','b')", "NULL", "'{}'::JSON", "[[1],[2,NULL]]",
    "MAP {'a': 1, 'b': 2}", "MAP {}", "{'a': {'b': [{'c': 1}]}}", "[{'a': 1}, NULL]", "[uuid()]",
    "[TIME '12:00:00']", "['a'::ENUM('a','b')]", "[1::HUGEINT]", "18446744073709551615::UBIGINT",
]  # fmt: skip
REFUSED = [
    "'\\xAA'::BLOB", "['\\xAA'::BLOB]", "'infinity'::DATE", "MAP {1: 2}", "DATE '0044-01-01 (BC)'",
    "'nan'::DOUBLE", "'inf'::DOUBLE",
]  # fmt: skip
"""Of these, some formats have a form; the others refuse them."""


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    root = tmp_path_factory.mktemp("types")
    made = small_catalogue(root / "catalogue")
    write_review(root / "auk", 0)
    made.ingest([root / "auk"], history=False, processes=1)
    return made


@pytest.mark.parametrize("value", WRITTEN)
def test_an_answer_is_written_in_every_format(
    catalogue: Catalogue, tmp_path: Path, value: str
) -> None:
    frame = catalogue.frame(f"SELECT {value} AS x")
    for out_format in FORMATS:
        export(frame, out_format, tmp_path / out_format)
        assert (tmp_path / out_format).stat().st_size > 0


@pytest.mark.parametrize("value", REFUSED)
def test_what_a_format_has_no_form_for_is_refused_in_words(
    catalogue: Catalogue, tmp_path: Path, value: str
) -> None:
    frame = catalogue.frame(f"SELECT {value} AS x")
    refused = []
    for out_format in FORMATS:
        try:
            export(frame, out_format, tmp_path / out_format)
        except UserError as error:
            refused.append(str(error))
    assert refused
    assert all("CAST(column AS VARCHAR)" in text for text in refused)


@pytest.mark.parametrize(
    "value",
    [
        "INTERVAL 1 MONTH", "[INTERVAL 1 DAY]", "{'d': INTERVAL 1 DAY}", "union_value(num := 2)",
        "340282366920938463463374607431768211455::UHUGEINT", "[{'a': 1::UHUGEINT}]", "'101'::BIT",
        "MAP {'a': '1'::BIT}", "TIMETZ '12:00:00+02'", "1::BIGNUM", "1::VARIANT",
        "'POINT(1 2)'::GEOMETRY",
    ],
)  # fmt: skip
def test_a_type_that_frames_lack_or_alter_is_refused_in_words(
    catalogue: Catalogue, value: str
) -> None:
    with catalogue.reading() as opened:
        with pytest.raises(database.StatementError, match=r"write CAST\(column AS VARCHAR\)"):
            opened.frame(f"SELECT {value} AS x")
        assert opened.frame(f"SELECT CAST({value} AS VARCHAR) AS x").height == 1
