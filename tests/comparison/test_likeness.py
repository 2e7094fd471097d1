"""Likeness: closed forms, properties, and scipy's and numpy's own results."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.distance import pdist

from backbench.statistics.likeness import (
    in_order_of_likeness,
    least_differences,
    likeness_map,
)


def test_bounds_differ_only_where_they_must() -> None:
    levels = np.array([[-60.0, -90.0], [-66.0, -80.0], [-60.0, -100.0]])
    bounds = np.array([[False, True], [False, False], [False, True]])
    apart = least_differences(levels, bounds)
    # At most -90 and -80 are 10 dB apart at least; two bounds may be equal.
    assert apart[0, 1] == pytest.approx(np.sqrt((36 + 100) / 2))
    assert apart[0, 2] == 0.0
    # A level of -95 may be what a bound of -90 hides; one of -80 may not.
    hidden = least_differences(np.array([[-90.0], [-95.0]]), np.array([[True], [False]]))
    assert hidden[0, 1] == hidden[1, 0] == 0.0


def test_what_shares_no_column_has_no_difference() -> None:
    levels = np.array([[1.0, np.nan], [np.nan, 2.0]])
    assert np.isnan(least_differences(levels, np.zeros((2, 2), bool))[0, 1])


@given(st.permutations(range(9)))
def test_things_on_a_line_come_in_its_order(shuffled: list[int]) -> None:
    points = np.array(shuffled, float) ** 1.5
    order = in_order_of_likeness(np.abs(points[:, None] - points))
    placed = [shuffled[k] for k in order]
    assert placed in (sorted(shuffled), sorted(shuffled, reverse=True))


def test_a_plane_is_shown_whole() -> None:
    """Points of a plane turned into five dimensions keep their distances."""
    rng = np.random.default_rng(5)
    plane = rng.normal(size=(12, 2))
    turn = np.linalg.qr(rng.normal(size=(5, 5)))[0][:2]
    found = likeness_map(plane @ turn)
    assert found.shown == pytest.approx(1.0)
    assert pdist(found.places) == pytest.approx(pdist(plane), rel=1e-9)


def test_the_map_is_classical_scaling() -> None:
    """Against the eigenvectors of the doubly centred squared distances (Torgerson 1952)."""
    points = np.random.default_rng(8).normal(size=(10, 4)) * [3, 2, 1, 0.5]
    found = likeness_map(points)
    squared = ((points[:, None] - points) ** 2).sum(axis=2)
    centring = np.eye(10) - 0.1
    sizes, vectors = np.linalg.eigh(-0.5 * centring @ squared @ centring)
    wanted = vectors[:, [-1, -2]] * np.sqrt(sizes[[-1, -2]])
    assert np.abs(found.places) == pytest.approx(np.abs(wanted), abs=1e-9)
    assert found.shown == pytest.approx(sizes[-2:].sum() / sizes.sum())


def test_the_same_points_give_the_same_map() -> None:
    points = np.random.default_rng(9).normal(size=(7, 3))
    again = likeness_map(points[::-1].copy()).places[::-1]
    assert again == pytest.approx(likeness_map(points).places)
    assert likeness_map(np.ones((3, 2))).shown == 1.0


def test_directions_are_where_a_column_grows() -> None:
    """A column that is one of the axes grows along it alone."""
    wide, narrow = np.array([-3.0, -1.0, 1.0, 3.0]), np.array([0.5, -0.5, -0.5, 0.5])
    found = likeness_map(np.column_stack([wide, narrow]))
    assert np.abs(found.directions) == pytest.approx(np.diag([np.sqrt(20), 1.0]), abs=1e-12)
    along = found.places[:, 0] * np.sign(found.directions[0, 0])
    assert along == pytest.approx(wide)
