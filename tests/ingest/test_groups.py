"""Works in the groups that one transaction takes."""

from __future__ import annotations

import itertools

import pytest

from backbench.ingest.run_ingest import LARGEST_GROUP, LEAST_GROUP, in_groups


@pytest.mark.parametrize("number", [0, 1, 15, 16, 23, 24, 40, 82, 500])
def test_every_work_is_in_one_group_and_in_order(number: int) -> None:
    works = list(range(number))
    groups = list(in_groups(works))  # type: ignore[type-var,arg-type]
    assert list(itertools.chain(*groups)) == list(range(number))
    assert not works, "a plan outlives its loading"
    assert all(1 <= len(group) <= LARGEST_GROUP for group in groups)
    # A handful that is left goes with the group before: it would cost as much as all of that.
    assert all(len(group) >= LEAST_GROUP // 2 for group in groups[1:])
