"""How several reviews ended, asked together, is how each ended, asked alone."""

from __future__ import annotations

import pytest

from backbench.catalogue import Catalogue
from backbench.ingest.outcomes import review_outcomes


@pytest.mark.parametrize("of_views", [False, True])
def test_outcomes_asked_together_are_those_asked_alone(measured: Catalogue, of_views: bool) -> None:
    with measured.reading() as store:
        keys = [str(key) for (key,) in store.rows("SELECT review_key FROM review ORDER BY ALL")]
        together = review_outcomes(store, keys, of_views=of_views)
        alone = {key: review_outcomes(store, [key])[key] for key in keys}
    assert len(keys) > 1
    assert sum(bool(one.captures) for one in alone.values()) > 1
    assert together == alone
