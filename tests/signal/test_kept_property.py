"""What is reckoned once of an object and kept with it."""

from __future__ import annotations

import pytest

from backbench.signal.kept_property import kept_for_each


class Powers:
    def __init__(self, base: float) -> None:
        self.base = base
        self.asked: list[float] = []

    @kept_for_each
    def to(self, exponent: float) -> float:
        self.asked.append(exponent)
        return float(1 / self.base**exponent)


def test_each_is_reckoned_once_for_each_object() -> None:
    two, three = Powers(2.0), Powers(3.0)
    found = [one.to(exponent) for exponent in (1.0, 2.0, 1.0) for one in (two, three)]
    assert found == [1 / 2, 1 / 3, 1 / 4, 1 / 9, 1 / 2, 1 / 3]
    assert two.asked == three.asked == [1.0, 2.0]


def test_what_is_raised_is_not_kept() -> None:
    none = Powers(0.0)
    for _ in range(2):
        with pytest.raises(ZeroDivisionError):
            none.to(1.0)
    assert none.asked == [1.0, 1.0]
