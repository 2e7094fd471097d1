"""The slow course of one state of a square wave, carried to its edge: level, line, exponential."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from backbench.errors import Refusal
from backbench.signal.track import Array

STEADY = 0.3
"""Share of a state after which its tilt is read, past most of the ringing."""
LATE = 0.5
"""Share of a state after which its level is read where it is too short for that."""
BENDING = 0.02
"""Tilt, of half the amplitude, from which its curvature is read too."""
LEAST_SAMPLES = 8
STEEPEST = 12.0
"""Greatest rate looked for: time constants from a twelfth of a state on."""


@dataclass(frozen=True, eq=False)
class StateFit:
    """A state's slow change, in its own time x from 0 to 1: level + slope u(x).

    u(x) = (1 - exp(-rate x)) / rate, which is x itself for a rate of 0.

    Parameters
    ----------
    level, slope : float
        V.
    rate : float
        Of the exponential over the duration; 0 for a straight line.
    start : float
        When the state begins, s.
    half_s : float
        Its duration, s, > 0.
    misfit : float
        rms of what remains beside the fit, V.
    noise : float
        Standard deviation of the samples, V.
    open_edge, open_fall : float
        Standard uncertainty that the noise leaves the level at the state's begin and its fall, V.
    """

    level: float
    slope: float
    rate: float
    start: float
    half_s: float
    misfit: float
    noise: float
    open_edge: float
    open_fall: float

    def at(self, t: Array) -> Array:
        """The fit at instants, V.

        Parameters
        ----------
        t : ndarray of float64, shape (n,)
            Instants, s.

        Returns
        -------
        ndarray of float64, shape (n,)
            V.
        """
        place = (t - self.start) / self.half_s
        return np.asarray(self.level + self.slope * _course(place, self.rate), dtype=np.float64)

    @property
    def at_edge(self) -> float:
        """The fit where the edge is, at 0 s, V."""
        return float(self.at(np.zeros(1))[0])

    @property
    def fall(self) -> float:
        """First less last value, V."""
        return -self.slope * float(_course(np.ones(1), self.rate)[0])


def fit_state(
    t: Array, v: Array, half_s: float, start: float, until: float, *, tilted: bool
) -> StateFit:
    """The course of the state that begins at `start`, read up to `until` after its begin.

    Parameters
    ----------
    t : ndarray of float64, shape (n,)
        Instants, s.
    v : ndarray of float64, shape (n,)
        V.
    half_s : float
        Duration of the state, s, > 0.
    start : float
        When it begins, s.
    until : float
        How long of it is read, s.
    tilted : bool
        Whether the state is long enough for its tilt to be told from ringing; a level alone
        otherwise.

    Returns
    -------
    StateFit

    Raises
    ------
    Refusal
        Where fewer than eight samples are in what is read.

    Notes
    -----
    A clear tilt is fitted by an exponential, which is what a first-order high-pass makes of a
    level.
    """
    place = (t - start) / half_s
    chosen = (place >= (STEADY if tilted else LATE)) & (place <= until / half_s)
    if np.count_nonzero(chosen) < LEAST_SAMPLES:
        raise Refusal("a state of the wave holds too few samples")
    x, y = place[chosen], v[chosen]
    if not tilted:
        return _level(x, y, start, half_s)
    half_swing = abs(float(v.max() - v.min())) / 2
    bent = abs(_solve(_basis(x, 0.0), y)[0][1]) > BENDING * half_swing
    rate = _rate(x, y) if bent else 0.0
    return _fitted_state(_basis(x, rate), y, rate, start, half_s, rate_known=not bent, x=x)


def _level(x: Array, y: Array, start: float, half_s: float) -> StateFit:
    """A state too short for its tilt to be told from ringing: its level at its begin may be as far
    off the mean as a line would carry it, to either side, uniformly spread (GUM 4.3.7)."""
    slope = float(_solve(_basis(x, 0.0), y)[0][1])
    carried = -slope * float(x.mean())
    fit = _fitted_state(np.ones((len(x), 1)), y, 0.0, start, half_s, rate_known=True)
    return replace(fit, open_edge=math.hypot(fit.open_edge, carried / math.sqrt(3)))


def _course(x: Array, rate: float) -> Array:
    if abs(rate) < 1e-6:
        return x
    return np.asarray(-np.expm1(-rate * x) / rate, dtype=np.float64)


def _basis(x: Array, rate: float) -> Array:
    return np.column_stack([np.ones(len(x)), _course(x, rate)])


def _solve(basis: Array, y: Array) -> tuple[Array, float]:
    """Coefficients of least squares and the sum of squares that remains."""
    coefficients = np.asarray(np.linalg.solve(basis.T @ basis, basis.T @ y), dtype=np.float64)
    rest = y - basis @ coefficients
    return coefficients, float(rest @ rest)


def _rate(x: Array, y: Array) -> float:
    """The rate of the exponential of least squares."""
    from scipy.optimize import minimize_scalar

    best = minimize_scalar(
        lambda rate: _solve(_basis(x, rate), y)[1], bounds=(-STEEPEST, STEEPEST), method="bounded",
        options={"xatol": 1e-4},
    )  # fmt: skip
    return float(best.x)


def _fitted_state(
    basis: Array, y: Array, rate: float, start: float, half_s: float, *,
    rate_known: bool, x: Array | None = None,
) -> StateFit:  # fmt: skip
    coefficients, _ = _solve(basis, y)
    rest = y - basis @ coefficients
    # Neighbours' differences hold the noise of single samples, not what rings or bends.
    noise = float(np.sqrt(np.mean(np.diff(rest) ** 2) / 2))
    level, slope = float(coefficients[0]), float(coefficients[1]) if len(coefficients) > 1 else 0.0
    full: Array = basis
    edge, fall = np.zeros(len(coefficients)), np.zeros(len(coefficients))
    edge[0] = 1.0
    if x is not None:
        fall[1] = float(_course(np.ones(1), rate)[0])
    if x is not None and not rate_known:
        by_rate = [slope * _by_rate(place, rate) for place in (x, np.ones(1))]
        full = np.column_stack([basis, by_rate[0]])
        edge, fall = np.append(edge, 0.0), np.append(fall, float(by_rate[1][0]))
    spread = _inverted(full.T @ full)
    opened = [noise * math.sqrt(max(float(w @ spread @ w), 0.0)) for w in (edge, fall)]
    misfit = float(np.sqrt(np.mean(rest**2)))
    return StateFit(
        level=level,
        slope=slope,
        rate=rate,
        start=start,
        half_s=half_s,
        misfit=misfit,
        noise=noise,
        open_edge=opened[0],
        open_fall=opened[1],
    )


def _inverted(product: Array) -> Array:
    """The inverse, or the nearest to it that there is; of one number its reciprocal."""
    return 1 / product if product.size == 1 else np.asarray(np.linalg.pinv(product))


def _by_rate(x: Array, rate: float, step: float = 1e-3) -> Array:
    """How the course changes with its rate."""
    derivative: Array = (_course(x, rate + step) - _course(x, rate - step)) / (2 * step)
    return derivative
