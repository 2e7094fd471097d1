"""Student's t: published tables, the general library's own values, and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from backbench.statistics.students_t import LIBRARY_FROM, MANY_DOF, all_below, below, quantile

# NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.2; upper 0.025 and 0.01.
TABLE = [(1, 12.706, 31.821), (2, 4.303, 6.965), (5, 2.571, 3.365), (10, 2.228, 2.764),
         (30, 2.042, 2.457), (100, 1.984, 2.364)]  # fmt: skip
FREEDOM = st.floats(0.5, 1e12)


@pytest.mark.parametrize(("dof", "two_and_a_half", "one"), TABLE)
def test_quantiles_are_those_of_a_printed_table(
    dof: float, two_and_a_half: float, one: float
) -> None:
    assert round(quantile(dof, 0.975), 3) == two_and_a_half
    assert round(quantile(dof, 0.99), 3) == one


def test_closed_forms_of_one_and_two_degrees_of_freedom() -> None:
    for t in (-40.0, -1.3, -1e-6, 0.0, 0.2, 7.0):
        assert below(1, t) == pytest.approx(0.5 + math.atan(t) / math.pi, rel=1e-12)
        assert below(2, t) == pytest.approx(0.5 + t / math.sqrt(2 + t * t) / 2, rel=1e-11)


@given(FREEDOM, st.floats(-10, 10))
def test_as_the_general_library_has_it(dof: float, t: float) -> None:
    assert below(dof, t) == pytest.approx(float(special.stdtr(dof, t)), rel=1e-11)


@given(st.floats(0.5, 1e6), st.floats(0.55, 0.9999))
def test_quantiles_are_the_librarys(dof: float, p: float) -> None:
    assert quantile(dof, p) == pytest.approx(float(special.stdtrit(dof, p)), rel=1e-10)


def test_the_two_ways_meet_where_one_takes_over() -> None:
    around = (math.nextafter(MANY_DOF, 0), MANY_DOF)
    for t in (-9.0, -2.0, -0.01):
        assert below(around[0], t) == pytest.approx(below(around[1], t), rel=1e-12)


def test_few_values_and_many_are_alike() -> None:
    dof, t = np.geomspace(1, 1e12, LIBRARY_FROM)[:, None], np.linspace(-5, 5, 3)
    one_by_one = [all_below(row, t) for row in dof]
    np.testing.assert_allclose(all_below(dof, t), one_by_one, rtol=1e-11)


def test_what_is_unknown_stays_unknown() -> None:
    assert math.isnan(below(math.nan, 1.0))
    assert math.isnan(below(3.0, math.nan))
    assert (below(3.0, -math.inf), below(3.0, math.inf)) == (0.0, 1.0)
