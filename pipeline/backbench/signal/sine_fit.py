"""A sine with harmonics fitted to samples at any instants: its frequency is one of the unknowns."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.track import Array

LEAST_PERIODS, MOST_PERIODS = 2.0, 2000.0
LEAST_SAMPLES = 5.0
"""Samples a period, on average, that the fundamental needs: common practice, no source."""
SAMPLES_OF_HARMONIC = 2.5
"""Samples a period that the highest harmonic needs."""
DRIFTING_PERIODS = 3.0
"""Periods from which a slow course beside the sine can be told from it."""
TOLERANCE = 0.02
"""How far a generator's frequency may be from that stated, relative."""
CLEAR_OF_LINES = 1.5
"""Periods in the record by which a line of the mains must differ from those of the sine."""
MAINS_PERIODS = 0.4
"""Periods of a mains line below which a parabola of the fourth degree stands for it."""
ENDS = 3.0
"""Phase at a record's ends that an error of a line turns, re that error: a straight line's."""
ITERATIONS, CONVERGED = 12, 1e-12
BLOCK = 100_000
BLOCKS = 8


class SineFit(NamedTuple):
    """A sine with its harmonics, as it was fitted.

    Parameters
    ----------
    hz, u_hz : float
        Frequency and its standard uncertainty by the residual, Hz.
    lines : ndarray of complex128, shape (k,)
        Peak phasors of the harmonics 1 to k at centre_s, in the samples' unit (cosine real).
    u_lines : ndarray of float64, shape (k,)
        Standard uncertainty of each line's real or imaginary part by the residual, same unit.
    offset : float
        Mean beside the sine, at the middle of the record.
    variance : float
        Mean square of the samples less their mean.
    centre_s : float
        Middle of the record, s.
    periods : float
        Periods of the fundamental in the record.
    """

    hz: float
    u_hz: float
    lines: np.ndarray[tuple[int], np.dtype[np.complex128]]
    u_lines: Array
    offset: float
    variance: float
    centre_s: float
    periods: float

    @property
    def peak(self) -> float:
        """Peak of the fundamental."""
        return float(abs(self.lines[0]))

    @property
    def u(self) -> float:
        """Standard uncertainty of that peak by the residual."""
        return float(self.u_lines[0])

    @property
    def phase(self) -> float:
        """Angle of the fundamental at the middle of the record, rad."""
        return float(np.angle(self.lines[0]))

    def harmonics(self) -> float:
        """Root sum square of the harmonics from the second on, rms, their noise taken off.

        Returns
        -------
        float
            In the unit of the values, >= 0.
        """
        beyond = np.abs(self.lines[1:]) ** 2 / 2 - self.u_lines[1:] ** 2
        return math.sqrt(max(float(beyond.sum()), 0.0))


def fit_sine(
    time: Array, values: Array, stated_hz: float, *, last: int = 10, search: bool = True,
    mains_hz: float | None = None,
) -> SineFit:  # fmt: skip
    """Least squares in frequency, sine, harmonics and a slow course beside them.

    Parameters
    ----------
    time : ndarray of float64, shape (n,)
        Rising instants, s; evenly spaced or not. Beyond 2,000 periods they are left out.
    values : ndarray of float64, shape (n,)
        In any unit.
    stated_hz : float
        Frequency to begin from, Hz, > 0.
    last : int
        Highest harmonic, >= 1; fewer where the samples lie too far apart.
    search : bool
        Whether the frequency is looked for within 2 % first; else it is taken as nearly right.
    mains_hz : float or None
        Mains frequency, Hz, whose first lines are fitted beside the sine where they can be told
        from it.

    Returns
    -------
    SineFit

    Raises
    ------
    Refusal
        Where the record holds less than two periods, less than five samples a period, only one
        value, or no sine within 2 % of the stated frequency.

    References
    ----------
    IEEE 1057 (four-parameter sine fit; from memory), with harmonics and a slow course added.
    """
    time, values = _first(time, values, stated_hz)
    length = float(time[-1] - time[0]) * len(time) / max(len(time) - 1, 1)
    periods, each = length * stated_hz, len(time) / max(length * stated_hz, 1e-300)
    _refuse_short(periods, each, stated_hz)
    if values.max() == values.min():
        raise Refusal("every value is the same: no signal")
    centre, half = (time[0] + time[-1]) / 2, length / 2
    s = (time - centre) / half
    top = max(1, min(last, int(each / SAMPLES_OF_HARMONIC)))
    nearest = _nearest(time, values, stated_hz) if search else stated_hz
    beside = _beside(s, half, nearest, top, mains_hz)
    solved = _iterated(s, values, 2 * math.pi * half * nearest, top, beside)
    hz = solved.turns / (2 * math.pi * half)
    if abs(hz / stated_hz - 1) > TOLERANCE:
        raise Refusal(
            f"no sine within {in_text(100 * TOLERANCE, '%')} of {in_text(stated_hz, 'Hz', 6)}: the "
            f"nearest is at {in_text(hz, 'Hz', 5)}"
        )
    course = beside.shape[1]
    left = _residual(s, values, solved, beside)
    free = max(len(left) - len(solved.beta) - 1, 1)
    slow = _running_mean(left, int(each))
    fast = left - slow
    noise = math.sqrt(float(fast @ fast) / free) * _correlated(fast, max(int(each / 4), 1))
    pairs = solved.beta[course:].reshape(-1, 2)
    lines = pairs[:, 0] - 1j * pairs[:, 1]
    # What is slower than the sine leaks into its line at the ends of the record.
    leak = math.sqrt(2 * float(np.mean(slow**2))) / (math.pi * periods)
    scatter = _scatter(s, left, solved.turns, periods)
    diagonal = np.maximum(np.diag(solved.inverse)[course : course + 2 * top], 0.0).reshape(-1, 2)
    u = np.maximum(np.hypot(noise * np.sqrt(diagonal.max(axis=1)), leak), scatter)
    u_turns = math.hypot(
        noise * math.sqrt(max(float(solved.inverse[-1, -1]), 0.0)),
        ENDS * leak / max(float(abs(lines[0])), 1e-300),
    )
    return SineFit(
        hz=hz, u_hz=u_turns / (2 * math.pi * half), lines=lines, u_lines=u,
        offset=float(np.mean(beside @ solved.beta[:course])),
        variance=float(np.var(values)), centre_s=float(centre), periods=periods,
    )  # fmt: skip


class _Solved(NamedTuple):
    turns: float
    beta: Array
    inverse: Array


def _first(time: Array, values: Array, hz: float) -> tuple[Array, Array]:
    kept = int(np.searchsorted(time, time[0] + MOST_PERIODS / hz, side="right"))
    return time[:kept], values[:kept]


def _refuse_short(periods: float, each: float, hz: float) -> None:
    if periods < LEAST_PERIODS * (1 - 1e-3):
        raise Refusal(
            f"too few periods: the trace holds {in_text(periods)} of {in_text(hz, 'Hz', 6)} where "
            f"at least {in_text(LEAST_PERIODS)} are needed; take a slower time base"
        )
    if each < LEAST_SAMPLES:
        raise Refusal(
            f"{in_text(each)} samples a period where at least {in_text(LEAST_SAMPLES)} are "
            "needed; take a faster time base"
        )


def _nearest(time: Array, values: Array, stated_hz: float) -> float:
    """Frequency within the tolerance at which the windowed samples have the greatest line."""
    length = float(time[-1] - time[0])
    stride = max(1, int(len(time) / (length * stated_hz) / 8))
    t, y = time[::stride] - time[0], values[::stride]
    window = np.sin(np.pi * np.clip(t / length, 0.0, 1.0)) ** 2
    y = (y - float(np.average(y, weights=window + 1e-12))) * window
    steps = max(int(2 * TOLERANCE * stated_hz * length / 0.2), 2)
    grid = stated_hz * np.linspace(1 - TOLERANCE, 1 + TOLERANCE, steps + 1)
    power = [abs(np.exp(-2j * math.pi * hz * t) @ y) for hz in grid]
    return float(grid[int(np.argmax(power))])


def _beside(s: Array, half: float, hz: float, top: int, mains_hz: float | None) -> Array:
    """Columns of what is fitted beside the sine: a slow course, and lines of the mains."""
    periods = 2 * half * hz
    degree = 0 if periods < DRIFTING_PERIODS else 2 if periods < 2 * DRIFTING_PERIODS else 4
    columns = [np.polynomial.legendre.legval(s, np.eye(degree + 1)[k]) for k in range(degree + 1)]
    for order in (1, 2, 3):
        line = order * (mains_hz or 0.0)
        apart = min(abs(line - k * hz) for k in range(1, top + 1)) * 2 * half
        if apart > CLEAR_OF_LINES and line * 2 * half > MAINS_PERIODS:
            columns += [
                np.cos(2 * math.pi * line * half * s),
                np.sin(2 * math.pi * line * half * s),
            ]
    return np.column_stack(columns)


def _iterated(s: Array, values: Array, turns: float, top: int, beside: Array) -> _Solved:
    """Linear fits in turn, each with the frequency that the one before it asked for."""
    beta, inverse, _ = _solve(s, values, turns, top, beside, None)
    for _ in range(ITERATIONS):
        beta, inverse, step = _solve(s, values, turns, top, beside, beta)
        # No step beyond a tenth of a period at the record's ends: the fit is linear there alone.
        step = float(np.clip(step, -0.6, 0.6))
        turns += step
        if abs(step) < CONVERGED * abs(turns):
            break
    return _Solved(turns, beta, inverse)


def _solve(
    s: Array, values: Array, turns: float, top: int, beside: Array, beta: Array | None
) -> tuple[Array, Array, float]:
    """The linear coefficients, the inverse of the normal matrix, the step of the frequency.

    beta: of the fit before, whose lines say where the frequency moves; None the first time.
    """
    course = beside.shape[1]
    width = course + 2 * top + (beta is not None)
    normal, right = np.zeros((width, width)), np.zeros(width)
    for at, linear in _columns(s, turns, top, beside):
        columns = linear
        if beta is not None:
            columns = np.column_stack([linear, _slope(s[at], linear[:, course:], beta[course:])])
        normal += columns.T @ columns
        right += columns.T @ values[at]
    inverse = np.linalg.pinv(normal, hermitian=True)
    solution = inverse @ right
    return solution[: course + 2 * top], inverse, 0.0 if beta is None else float(solution[-1])


def _columns(s: Array, turns: float, top: int, beside: Array) -> Iterator[tuple[slice, Array]]:
    """Blocks of the linear model: what is beside, then cosine and sine of each harmonic."""
    for start in range(0, len(s), BLOCK):
        at = slice(start, start + BLOCK)
        base = np.exp(1j * turns * s[at])
        columns, power = [beside[at]], np.ones_like(base)
        for _ in range(top):
            power = power * base
            columns += [power.real, power.imag]
        yield at, np.column_stack(columns)


def _slope(s: Array, waves: Array, pairs: Array) -> Array:
    """Change of the model with the frequency: s k (b cos - a sin), summed over the harmonics."""
    orders = np.arange(1, len(pairs) // 2 + 1)
    return np.asarray(
        s * (waves[:, 0::2] @ (orders * pairs[1::2]) - waves[:, 1::2] @ (orders * pairs[0::2]))
    )


def _residual(s: Array, values: Array, solved: _Solved, beside: Array) -> Array:
    top = (len(solved.beta) - beside.shape[1]) // 2
    left = np.empty(len(s))
    for at, columns in _columns(s, solved.turns, top, beside):
        left[at] = values[at] - columns @ solved.beta
    return left


def _running_mean(left: Array, length: int) -> Array:
    """Mean over about one period: what is slower than the sine leaves its lines alone."""
    if length < 2 or length >= len(left):
        return np.zeros(len(left))
    from scipy.ndimage import uniform_filter1d

    return np.asarray(uniform_filter1d(left, length, mode="nearest"))


def _correlated(left: Array, most: int) -> float:
    """How much wider neighbouring residuals that resemble each other make an uncertainty, >= 1."""
    square = float(left @ left)
    if square == 0:
        return 1.0
    total = 1.0
    for lag in range(1, min(most, len(left) // 4) + 1):
        r = float(left[lag:] @ left[:-lag]) / square
        if r < 2 / math.sqrt(len(left)):
            break
        total += 2 * r
    return math.sqrt(total)


def _scatter(s: Array, left: Array, turns: float, periods: float) -> float:
    """Standard uncertainty of the mean line by how lines of parts scatter; 0 of few periods.

    left: what the fit leaves, in which each part shows how far its own line is off the mean one.
    """
    count = min(BLOCKS, int(periods / 2))
    if count < 4 or len(s) < 8 * count:
        return 0.0
    lines = []
    for part in np.array_split(np.arange(len(s)), count):
        base = np.exp(1j * turns * s[part])
        columns = np.column_stack([np.ones(len(part)), s[part], base.real, base.imag])
        lines.append(np.linalg.lstsq(columns, left[part], rcond=None)[0][2:])
    return float(np.std(lines, axis=0, ddof=1).max()) / math.sqrt(count)
