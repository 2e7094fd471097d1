"""Anything against anything: what is held against what, at which test point."""

from __future__ import annotations

from typing import Any

import pytest

from backbench.comparison.regression import quantity, regression, screening
from backbench.errors import Refusal, UserError
from backbench.storage.database import reading


def catalogue(given: Any) -> Any:
    """Twenty units, ten a technology; noise rises with age in each; gain doesn't."""
    for n in range(20):
        key = f"u{n}"
        technology = "tube" if n < 10 else "solid state"
        given.unit(key, technology=technology, made=1960 + n, price_amount=100.0 + n,
                   price_currency="USD", price_year=1958)  # fmt: skip
        given.reading(key, "noise_a", 1e-4 + 1e-6 * n, 1e-7, under="idle")
        given.reading(key, "gain", (20.0, 21.0, 19.0)[n % 3] + n % 2, 0.1)
        given.reading(key, "power_at_limit", 10.0 + n, 0.1, power_w=None, limit_percent=1.0)
        given.reading(key, "power_at_limit", 20.0 + n, 0.1, power_w=None, limit_percent=10.0)
        given.reading(key, "thd", 0.1, 1e-3, power_w=1.0 if n < 3 else 5.0)
    return given.build()


def test_a_metric_over_a_fact(given: Any) -> None:
    with reading(catalogue(given)) as store:
        result = regression(store, "noise_a", "age")
    assert result.trend.slope == pytest.approx(-1e-6)
    assert (result.trend.n, result.trend.rho) == (20, pytest.approx(-1.0))
    assert set(result.trend.within) == {"tube", "solid state"}
    assert result.y.title == "noise a (idle, input terminated)"
    assert sorted(result.frame()["x"]) == [float(41 + n) for n in range(20)]


def test_limit_and_point_can_be_chosen(given: Any) -> None:
    with reading(catalogue(given)) as store:
        assert quantity(store, "power_at_limit").values["u0"] == 10.0
        assert quantity(store, "power_at_limit/10").values["u0"] == 20.0
        assert len(quantity(store, "thd").values) == 17
        assert len(quantity(store, "thd@tone-1khz-1w-8ohm").values) == 3
        price = quantity(store, "price_today").values["u0"]
    assert price == pytest.approx(1085, abs=0.5)


def test_what_is_not_known_is_reported(given: Any) -> None:
    with reading(catalogue(given)) as store:
        with pytest.raises(UserError, match="near: noise_a"):
            quantity(store, "noise_b")
        with pytest.raises(UserError, match="tone-1khz-5w-8ohm"):
            quantity(store, "thd@idle")
        with pytest.raises(UserError, match="'colour'"):
            regression(store, "noise_a", "age", within="colour")
        with pytest.raises(Refusal):
            regression(store, "thd@tone-1khz-1w-8ohm", "age")


def test_screening_holds_the_false_discovery_rate(given: Any) -> None:
    with reading(catalogue(given)) as store:
        result = screening(store, "age")
    names = [y.name for y, one in result.metrics if one.adjusted_p < 0.05]
    assert names == ["noise_a", "power_at_limit"]
    assert result.refused == {"thd": "all values are equal"}
    row = result.frame().row(0, named=True)
    assert (row["metric"], row["n"], row["rho"]) == ("noise_a", 20, pytest.approx(-1.0))
    assert row["p_adjusted"] >= row["p"]
