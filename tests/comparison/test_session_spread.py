"""The spread between sessions of quantities that may cross zero, and of ratios."""

from __future__ import annotations

from typing import Any

import pytest

from backbench.metrics.session_spreads import LEVELS, OFFSET
from backbench.storage.database import reading
from backbench.test_points.repeatability import DEFAULT_DOF


def measured_again(given: Any, metric: str, values: tuple[float, float], **more: Any) -> Any:
    """The metric's spread after two sessions of one state."""
    for n, value in enumerate(values):
        given.review(f"r{n}", f"202{n}-01-01")
        given.unit("a", f"r{n}")
        given.reading("a", metric, value, 1e-9, review=f"r{n}", estimation=1e-9, **more)
        given.capture(f"r{n}", 1)
    given.between_sessions = True
    with reading(given.build()) as store:
        rows = store.rows("SELECT spread, relative, sessions FROM session_spread "
                          "WHERE metric = $metric", {"metric": metric})  # fmt: skip
    return rows[0]


@pytest.mark.parametrize(
    ("metric", "values", "default"),
    [("dc_offset", (2e-3, -2e-3), OFFSET), ("channel_balance", (0.5, -0.5), LEVELS)],
)
def test_values_of_either_sign_spread_by_their_difference(
    given: Any, metric: str, values: tuple[float, float], default: Any
) -> None:
    """Closed form: two values x and -x have the variance 2 x^2, with one degree of freedom."""
    spread, relative, sessions = measured_again(given, metric, values)
    variance = (DEFAULT_DOF * default.size**2 + 2 * values[0] ** 2) / (DEFAULT_DOF + 1)
    assert not relative
    assert sessions == 2
    assert spread == pytest.approx(variance**0.5, rel=1e-6)
