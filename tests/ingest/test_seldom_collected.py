"""The collector is as it was once a load has ended, however it ended."""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest

from backbench.ingest.seldom_collected import MADE_BETWEEN, collected_seldom


@pytest.fixture(autouse=True)
def as_before() -> Iterator[None]:
    before = gc.get_threshold()
    yield
    gc.set_threshold(*before)


@pytest.mark.parametrize(
    ("first", "within"), [(700, MADE_BETWEEN), (2 * MADE_BETWEEN, 2 * MADE_BETWEEN), (0, 0)]
)
def test_searches_are_seldom_within_and_as_before_after(first: int, within: int) -> None:
    gc.set_threshold(first, 10, 10)

    @collected_seldom()
    def fails() -> None:
        assert gc.get_threshold() == (within, 10, 10)
        raise OSError("full")

    with pytest.raises(OSError, match="full"):
        fails()
    assert gc.get_threshold() == (first, 10, 10)
