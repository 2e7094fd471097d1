"""Statistics against scipy, numpy and statistical references on random tables, to 1e-9."""

from __future__ import annotations

from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from backbench.comparison import drift
from backbench.documents.settings import Settings
from backbench.ingest.reference_tables import kind_rows
from backbench.statistics import (
    nearest_neighbours,
    permutation_test,
    rank_statistics,
    ranks,
    trends,
)
from backbench.storage.database import reading, writing
from backbench.test_points.assign import sync_points

TABLES = [np.random.default_rng(seed).normal(size=(37, 4)).round(2) for seed in range(5)]


@pytest.mark.parametrize("table", TABLES)
def test_ranks_are_those_of_scipy(table: np.ndarray) -> None:
    values = ranks.oriented(table[:, 0], np.zeros(37), "lower")
    wanted = stats.rankdata(table[:, 0])
    assert rank_statistics.mid_ranks(table[:, 0]) == pytest.approx(wanted, abs=1e-9)
    certain = ranks.simultaneous(values)
    assert certain[:, 0] == pytest.approx(stats.rankdata(table[:, 0], "min"))
    assert certain[:, 1] == pytest.approx(stats.rankdata(table[:, 0], "max"))


@pytest.mark.parametrize("table", TABLES)
def test_percentiles_are_those_of_scipy(table: np.ndarray) -> None:
    column = table[:, 0]
    values = ranks.oriented(column, np.zeros(37), "higher")
    for index in (0, 11, 36):
        wanted = stats.percentileofscore(np.delete(column, index), column[index], kind="mean")
        assert ranks.percentile(values, index) == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize("table", TABLES)
def test_slopes_and_rho_are_those_of_definition(table: np.ndarray) -> None:
    """Theil-Sen as the median of all pairwise slopes; rho as the correlation of ranks."""
    x, y = table[:, 0], table[:, 1]
    i, j = np.triu_indices(37, 1)
    apart = x[i] != x[j]
    slopes = (y[j] - y[i])[apart] / (x[j] - x[i])[apart]
    result = trends.trend(x, y)
    assert result.slope == pytest.approx(np.median(slopes), abs=1e-9)
    assert result.intercept == pytest.approx(np.median(y) - result.slope * np.median(x), abs=1e-9)
    rho = np.corrcoef(stats.rankdata(x), stats.rankdata(y))[0, 1]
    assert result.rho == pytest.approx(rho, abs=1e-9)
    assert result.rho == pytest.approx(stats.spearmanr(x, y).statistic, abs=1e-9)
    wanted = stats.theilslopes(y, x, alpha=0.95)
    assert (result.low, result.high) == (wanted.low_slope, wanted.high_slope)


@pytest.mark.parametrize("table", TABLES)
def test_lines_with_ties_tests_of_groups_and_cumulants_are_those_of_scipy(
    table: np.ndarray,
) -> None:
    x, y, third, p = table.round(0)[:, 0], table[:, 1], table.round(1)[:20, 2], table[:, 3] ** 2 / 9
    for confidence in (0.8, 0.95):
        line, wanted = (
            rank_statistics.theil_sen(x, y, confidence),
            stats.theilslopes(y, x, confidence),
        )
        assert (line.slope, line.low, line.high, line.intercept) == pytest.approx(
            (wanted.slope, wanted.low_slope, wanted.high_slope, wanted.intercept), abs=1e-12
        )
    found = rank_statistics.kruskal_p_value([x, y.round(0), third])
    assert found == pytest.approx(stats.kruskal(x, y.round(0), third).pvalue, rel=1e-9)
    assert trends.false_discovery(p) == pytest.approx(stats.false_discovery_control(p), rel=1e-12)
    fourth = stats.kstat(y, 4) / stats.kstat(y, 2) ** 2
    assert rank_statistics.fourth_over_second(y) == pytest.approx(fourth, rel=1e-9)


@pytest.mark.parametrize("table", TABLES)
def test_chance_is_that_of_scipys_permutation_test(table: np.ndarray) -> None:
    """Exact over all orders of six units; by 20,000 random orders of 37, within four standard
    errors of their share. Values are rounded, so there are ties."""

    def rho(y: np.ndarray) -> float:
        return float(abs(stats.spearmanr(x, y).statistic))

    x, y = table[:6, 0].round(0), table[:6, 1].round(1)
    every = stats.permutation_test((y,), rho, permutation_type="pairings", n_resamples=np.inf,
                                   alternative="greater")  # fmt: skip
    assert permutation_test.permutation_p_value(x, y) == pytest.approx(every.pvalue, abs=1e-9)

    rx, ry = (stats.rankdata(table[:, j]) for j in (0, 1))
    orders = np.random.default_rng(3).permuted(np.tile(ry, (20_000, 1)), axis=1)
    spread = 36 * np.std(rx) * np.std(ry) * 37 / 36
    shares = np.abs((orders - ry.mean()) @ (rx - rx.mean())) / spread
    result = abs(stats.spearmanr(table[:, 0], table[:, 1]).statistic)
    share = np.mean(shares >= result - 1e-12)
    error = np.sqrt(share * (1 - share) / 20_000)
    assert permutation_test.permutation_p_value(table[:, 0], table[:, 1]) == pytest.approx(
        share, abs=4 * error + 1e-4
    )


@pytest.mark.parametrize("n", [5, 6, 7, 8])
def test_moments_over_all_orders(n: int) -> None:
    """Mean square and mean fourth power of the correlation against every order gone through."""
    rng = np.random.default_rng(n)
    a, b = (rng.normal(size=n).round(1) for _ in range(2))
    a, b = ((v - v.mean()) / np.linalg.norm(v - v.mean()) for v in (a, b))
    every = np.asarray([np.asarray(order) @ a for order in permutations(b)])
    wanted = np.mean(every**2), np.mean(every**4)
    assert permutation_test.moments(a, b) == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize("table", TABLES)
def test_robust_scales_are_those_of_scipy(table: np.ndarray) -> None:
    spread = stats.median_abs_deviation(table, axis=0, scale=1 / nearest_neighbours.NORMAL)
    wanted = (table - np.median(table, axis=0)) / spread
    assert nearest_neighbours.robust_scale(table) == pytest.approx(wanted, abs=1e-9)


def test_database_medians_and_quantiles_are_those_of_numpy(tmp_path: Path) -> None:
    """What saved queries lean on: median, interpolated quantile, median absolute deviation."""
    with writing(tmp_path) as store:
        sync_points(store, Settings())
        store.append("unit_kind", kind_rows())
    column = TABLES[0][:, 0]
    with reading(tmp_path) as store:
        result = store.rows(
            "SELECT median(v), quantile_cont(v, 0.1), mad(v) "
            "FROM (SELECT unnest($values::DOUBLE[]) AS v)",
            {"values": column.tolist()},
        )[0]
    wanted = [np.median(column), np.quantile(column, 0.1), stats.median_abs_deviation(column)]
    assert list(result) == pytest.approx(wanted, abs=1e-9)


def test_false_discovery_rate_is_held() -> None:
    """Benjamini and Hochberg: with 15 true effects among 60, the mean share of false ones among
    those kept at 10 % is at most 7.5 % (the rate times the share of true nulls)."""
    rng = np.random.default_rng(11)
    shares = []
    for _ in range(400):
        z = rng.normal(size=60) + np.where(np.arange(60) < 15, 4.0, 0.0)
        kept = np.asarray(trends.false_discovery(2 * stats.norm.sf(np.abs(z)))) <= 0.10
        shares.append(kept[15:].sum() / max(1, kept.sum()))
    error = np.std(shares) / 20
    assert np.mean(shares) <= 0.075 + 3 * error


def test_moving_range_constant() -> None:
    """d4 = 0.954, the median of the range of two normal values (handbook table of control chart
    constants, from memory); here from the normal quantile."""
    assert pytest.approx(np.sqrt(2) * stats.norm.ppf(0.75), rel=1e-12) == drift.MEDIAN_RANGE
    assert round(drift.MEDIAN_RANGE, 3) == 0.954
