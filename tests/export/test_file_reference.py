"""MANIFEST.md names every key of the files that a reviewer writes."""

from __future__ import annotations

import pytest

from backbench.export.file_reference import FILES, PAGE, descriptions, page, tables_of


def test_page_is_up_to_date() -> None:
    assert PAGE.read_text(encoding="utf-8") == page()


@pytest.mark.parametrize("model", [model for _, _, model in FILES])
def test_every_key_is_described(model: type) -> None:
    missing = [
        f"{table.__name__}.{key}"
        for _, table in tables_of(model)
        for key in table.model_fields
        if key not in descriptions(table)
    ]
    assert missing == []
