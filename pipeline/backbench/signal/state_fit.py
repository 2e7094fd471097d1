"""The slow course of one state of a square wave, carried to its edge: level, line, exponential."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.errors import Refusal
from backbench.signal.power import product
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
        if self.slope == 0:
            return np.full(len(t), self.level)
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
        Instants, rising, s.
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
    first = int(place.searchsorted(STEADY if tilted else LATE))
    chosen = slice(first, int(place.searchsorted(until / half_s, "right")))
    x, y = place[chosen], v[chosen]
    if len(x) < LEAST_SAMPLES:
        raise Refusal("a state of the wave holds too few samples")
    if not tilted:
        return _level(x, y, start, half_s)
    half_swing = abs(float(v.max() - v.min())) / 2
    bent = abs(_solve(_basis(x, 0.0), y)[0][1]) > BENDING * half_swing
    rate = _rate(x, y) if bent else 0.0
    return _fitted_state(x, y, rate, start, half_s, rate_known=not bent)


def _level(x: Array, y: Array, start: float, half_s: float) -> StateFit:
    """A state too short for its tilt to be told from ringing: its level at its begin may be as far
    off the mean as a line would carry it, to either side, uniformly spread (GUM 4.3.7)."""
    about = x - x.mean()
    carried = product(about, y) / product(about, about) * float(x.mean())
    level = float(y.mean())
    rest = y - level
    noise = _noise_of(rest)
    open_edge = math.hypot(noise / math.sqrt(len(y)), carried / math.sqrt(3))
    return StateFit(
        level=level, slope=0.0, rate=0.0, start=start, half_s=half_s, misfit=_rms(rest),
        noise=noise, open_edge=open_edge, open_fall=0.0,
    )  # fmt: skip


def _noise_of(rest: Array) -> float:
    """Standard deviation of single samples, V, from neighbours' differences: these hold their
    noise, not what rings or bends."""
    return _rms(rest[1:] - rest[:-1]) / math.sqrt(2)


def _rms(values: Array) -> float:
    return math.sqrt(product(values, values) / len(values))


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
    x: Array, y: Array, rate: float, start: float, half_s: float, *, rate_known: bool
) -> StateFit:
    basis = _basis(x, rate)
    coefficients, _ = _solve(basis, y)
    rest = y - basis @ coefficients
    noise = _noise_of(rest)
    level, slope = float(coefficients[0]), float(coefficients[1])
    full: Array = basis
    edge, fall = [1.0, 0.0], [0.0, float(_course(np.ones(1), rate)[0])]
    if not rate_known:
        by_rate = [slope * _by_rate(place, rate) for place in (x, np.ones(1))]
        full = np.column_stack([basis, by_rate[0]])
        edge, fall = [*edge, 0.0], [*fall, float(by_rate[1][0])]
    spread = np.linalg.pinv(full.T @ full)
    opened = [
        noise * math.sqrt(max(float(w @ spread @ w), 0.0)) for w in (np.array(edge), np.array(fall))
    ]
    return StateFit(
        level=level, slope=slope, rate=rate, start=start, half_s=half_s, misfit=_rms(rest),
        noise=noise, open_edge=opened[0], open_fall=opened[1],
    )  # fmt: skip


def _by_rate(x: Array, rate: float, step: float = 1e-3) -> Array:
    """How the course changes with its rate."""
    derivative: Array = (_course(x, rate + step) - _course(x, rate - step)) / (2 * step)
    return derivative
