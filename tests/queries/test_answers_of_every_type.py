"""Answers of every type of the database, in every format: written, or refused in words."""

from __future__ import annotations

from pathlib import Path

import pytest

from backbench.catalogue import Catalogue
from backbench.errors import UserError
from backbench.reports.export_formats import FORMATS, export
from faults.small_catalogue import small_catalogue, write_review

WRITTEN = [
    "true", "1::TINYINT", "170141183460469231731687303715884105727::HUGEINT", "1::UHUGEINT",
    "1.5::DECIMAL(38,10)", "1.5::FLOAT", "DATE '2024-01-01'", "TIME '12:00:00'",
    "TIMESTAMP '2024-01-01 00:00:00'", "TIMESTAMP_NS '2024-01-01 00:00:00'",
    "TIMESTAMPTZ '2024-01-01 00:00:00+00'", "uuid()", "[1,2]", "[1,2]::INT[2]",
    "{'a':1,'b':[1,2]}", "'a'::ENUM('a','b')", "NULL", "'{}'::JSON", "[[1],[2,NULL]]",
]  # fmt: skip
REFUSED = [
    "'\\xAA'::BLOB", "'101'::BIT", "'infinity'::DATE", "DATE '0044-01-01 (BC)'",
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


def test_a_type_that_frames_lack_is_refused_in_words(catalogue: Catalogue) -> None:
    with catalogue.reading() as opened, pytest.raises(Exception, match="INTERVAL: write CAST"):
        opened.frame("SELECT INTERVAL 1 MONTH AS x")
