"""Every specification of a catalogue: margins worked out by hand."""

from __future__ import annotations

from typing import Any

import pytest

from backbench.comparison.catalogue_promises import catalogue_promises
from backbench.comparison.verdicts import verdicts
from backbench.errors import UserError
from backbench.storage.database import reading


def test_margins_by_hand(given: Any) -> None:
    """20 lg(0.5/0.25) = 6.02 dB, 10 lg(18/20) = -0.458 dB, 42 dB less 40 dB, -20 lg(60/50)."""
    given.unit("a")
    given.published("a", "thd", "at most", 0.5)
    given.published("a", "separation", "at least", 40.0, position=2)
    given.published("a", "dc_offset", "at most", 0.05, position=3)
    given.published("a", "snr", "at least", 80.0, position=4)
    given.reading("a", "thd", 0.25, 0.025, power_w=None)
    given.reading("a", "separation", 42.0, 0.1, power_w=None)
    given.reading("a", "dc_offset", -0.06, 0.001, under="idle")
    given.unit("b", rated_power_w=20.0)
    given.reading("b", "power_at_limit", 18.0, 0.1, limit_percent=1.0, power_w=None)
    given.unit("c")
    given.published("c", "thd", "at most", 0.5)
    given.reading("c", "thd", 0.25, 0.0, power_w=None, bound="upper", status="at_floor")
    with reading(given.build()) as store:
        frame = catalogue_promises(store)
        alone = {unit: verdicts(store, unit) for unit in ("a", "b", "c")}
    rows = {(row["unit_key"], row["metric"]): row for row in frame.to_dicts()}
    margins = {key: row["margin_db"] for key, row in rows.items()}
    assert margins["a", "thd"] == pytest.approx(6.0206, abs=1e-4)
    assert margins["a", "separation"] == pytest.approx(2.0)
    assert margins["a", "dc_offset"] == pytest.approx(-1.5836, abs=1e-4)
    assert margins["b", "power_at_limit"] == pytest.approx(-0.4576, abs=1e-4)
    assert margins["a", "snr"] is None
    assert rows["a", "snr"]["outcome"] == "not measured"
    # The lower limit of the margin is that of the greatest distortion: 20 lg(0.5/0.3).
    assert rows["a", "thd"]["margin_low_db"] == pytest.approx(4.4370, abs=1e-4)
    assert rows["a", "thd"]["margin_high_db"] == pytest.approx(7.9588, abs=1e-4)
    # At most 0.25 % is better than specified by at least that.
    assert rows["c", "thd"]["margin_bound"] == "lower"
    assert rows["c", "thd"]["margin_high_db"] is None
    outcomes = [(unit, v.metric, v.outcome) for unit, own in alone.items() for v in own]
    assert frame.select("unit_key", "metric", "outcome").rows() == outcomes


def test_a_unit_that_is_not_there_is_named(given: Any) -> None:
    given.unit("quarrel")
    with reading(given.build()) as store:
        assert catalogue_promises(store).is_empty()
        with pytest.raises(UserError, match="quarrel"):
            catalogue_promises(store, "quarel")
