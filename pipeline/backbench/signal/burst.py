"""Repeated bursts of a sine: where they are, their level, and what the wave is bent by."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.between_bursts import lines_between
from backbench.signal.power import MeanSquare, squared
from backbench.signal.record_checks import check_record
from backbench.signal.tone import EDGE, LAST_ORDER, PASS_BAND
from backbench.signal.tone_search import GENERATOR_TOLERANCE
from backbench.signal.track import Array, Track
from backbench.signal.uncertainty import DB_PER_RELATIVE

HALF = 0.5
"""Share of the greatest envelope above which a burst is on; between bursts the level may be
20 dB down."""
DURATION_WITHIN = 0.1
PERIOD_WITHIN = 0.02
SKIPPED_PERIODS = 2
"""Periods at either end of a burst that are left out: the unit and the band settle there."""
LEAST_PERIODS = 5
MOST_WANDER = 0.1
"""How far the phase within a burst may be off even turning, rad."""
WANDERS = 4.0
"""Times what noise makes of the phase, from which it wanders."""
END_PERIODS = 3
"""First and last periods that are looked at by themselves, but for the outermost one."""
SLOW = 6
"""Degree of the polynomial that follows hum within a burst: of 60 Hz and 16 ms it leaves 0.5 % (by
computation)."""
ALIKE_DB = 0.2
SURE = 6.0
"""Standard deviations of the noise by which levels may differ besides."""
DISTURBED, DISTURBED_SHARE = 30.0, 3e-4
"""A period is disturbed above so many times the usual mean square of what is left, and from this
share of the burst's power (a peak of about 2 %)."""


class Bursts(NamedTuple):
    """Bursts as read from a record.

    Parameters
    ----------
    levels : tuple of float
        The fundamental's rms of each burst, V.
    noise : float
        Relative standard uncertainty that noise gives one of them.
    harmonics : MeanSquare
        Harmonics 2 to 10 together, V^2.
    peak : float
        Greatest instant magnitude, V.
    frequency_hz : float
        As measured, Hz.
    ends : tuple of MeanSquare
        Harmonics 2 to 10 together in the first and in the last periods, re the fundamental there.
    flattened : float
        How much lower the crest of either half wave is than the fundamental's, the most of first,
        middle and last periods, share of the latter; below 0 where crests are higher.
    runs : tuple of (int, int)
        First and last sample of each.
    """

    levels: tuple[float, ...]
    noise: float
    harmonics: MeanSquare
    peak: float
    frequency_hz: float
    ends: tuple[MeanSquare, MeanSquare]
    flattened: float
    runs: tuple[tuple[int, int], ...]


def read_bursts(track: Track, hz: float, on_s: float, period_s: float) -> Bursts:
    """The whole bursts in a track.

    Parameters
    ----------
    track : Track
        The record.
    hz : float
        Frequency of the sine as stated, Hz.
    on_s : float
        Duration of a burst as stated, s.
    period_s : float
        From the start of a burst to that of the next as stated, s.

    Returns
    -------
    Bursts

    Raises
    ------
    Refusal
        Where the record is unfit, a burst holds too few periods, the sample rate doesn't hold ten
        harmonics, no burst is whole, or the bursts are not those stated, differ, or are disturbed.
    """
    check_record(track)
    return bursts_of_trace(track, hz, on_s, period_s)


def bursts_of_trace(track: Track, hz: float, on_s: float, period_s: float) -> Bursts:
    """The same of an instrument's trace, which may be shorter and coarser than a recording.

    Parameters
    ----------
    track : Track
        The trace.
    hz : float
        Frequency as stated, Hz.
    on_s : float
        Duration of a burst as stated, s.
    period_s : float
        From one burst's begin to the next, as stated, s.

    Returns
    -------
    Bursts

    Raises
    ------
    Refusal
        As read_bursts, but for records that are short or coarse.
    """
    _refuse_unmeasurable(track, hz, on_s)
    analytic = _demodulated(track, hz)
    runs = _runs(analytic, track.rate_hz, hz, on_s)
    _check_period([first for first, _ in runs], track.rate_hz, period_s)
    skipped = round(SKIPPED_PERIODS * track.rate_hz / hz)
    inside = [slice(first + skipped, last - skipped) for first, last in runs]
    measured_hz = _frequency([analytic[part] for part in inside], track.rate_hz, hz)
    turns = measured_hz / track.rate_hz
    fits = [_fitted(track.volts[part], turns, slow=SLOW) for part in inside]
    _refuse_unsteady(fits)
    off = 2 * np.pi * (measured_hz - hz) / track.rate_hz
    fits = [
        _wavered(fit, _wander(analytic[part], off, fit.noise**2 * len(analytic[part]) * turns))
        for part, fit in zip(inside, fits, strict=True)
    ]
    short = _ends(runs, 1 / turns)
    ends = [[_fitted(track.volts[part], turns, slow=1) for part in side] for side in short]
    windows = [*zip(inside, fits, strict=True)]
    for side, bursts in zip(short, ends, strict=True):
        windows += zip(side, bursts, strict=True)
    peak = max(float(np.abs(track.volts[first:last]).max()) for first, last in runs)
    beside = lines_between(track.volts, inside, turns, LAST_ORDER)
    noise = float(np.mean([fit.noise for fit in fits]))
    return Bursts(
        levels=tuple(fit.level for fit in fits),
        noise=math.hypot(noise, math.sqrt(len(fits) * beside[0] / 2) / fits[0].level),
        harmonics=_with_lines(_mean([fit.harmonics for fit in fits]), fits[0].each, beside[1:]),
        peak=peak,
        frequency_hz=measured_hz,
        ends=(_mean([fit.share for fit in ends[0]]), _mean([fit.share for fit in ends[1]])),
        flattened=max(_flattened(track.volts[part], fit.level, 1 / turns) for part, fit in windows),
        runs=tuple(runs),
    )


def _refuse_unmeasurable(track: Track, hz: float, on_s: float) -> None:
    """Raise Refusal where the stated bursts are too short, or too high for the sample rate."""
    if on_s * hz < LEAST_PERIODS + 2 * SKIPPED_PERIODS:
        raise Refusal(
            f"a burst of {in_text(on_s, 's', 6)} holds too few periods of "
            f"{in_text(hz, 'Hz', 6)} to be measured"
        )
    if LAST_ORDER * hz > PASS_BAND * EDGE * track.rate_hz:
        raise Refusal(
            f"a sample rate of {in_text(track.rate_hz, 'Hz', 6)} doesn't hold ten "
            f"harmonics of {in_text(hz, 'Hz', 6)}"
        )


def _frequency(bursts: Sequence[NDArray[np.complex128]], rate_hz: float, hz: float) -> float:
    """Mean frequency of the demodulated bursts, Hz. Raises Refusal where it isn't that stated."""
    measured_hz = hz + float(np.mean([_off(analytic, rate_hz) for analytic in bursts]))
    if abs(measured_hz / hz - 1) > GENERATOR_TOLERANCE:
        raise Refusal(
            f"the bursts are of {in_text(measured_hz, 'Hz', 6)}, not of "
            f"{in_text(hz, 'Hz', 6)} as stated"
        )
    return measured_hz


def _ends(runs: Sequence[tuple[int, int]], period: float) -> tuple[list[slice], list[slice]]:
    """First and last periods of each burst, but the outermost; period: samples."""
    skipped, lasting = round(period), round(END_PERIODS * period)
    return (
        [slice(first + skipped, first + skipped + lasting) for first, _ in runs],
        [slice(last - skipped - lasting, last - skipped) for _, last in runs],
    )


def _refuse_unsteady(fits: Sequence[_Fit]) -> None:
    """Raise Refusal where the bursts differ in level, or one is disturbed and others aren't."""
    levels = np.array([fit.level for fit in fits])
    span_db = 20 * math.log10(float(levels.max() / levels.min()))
    most = ALIKE_DB + DB_PER_RELATIVE * SURE * max(fit.noise for fit in fits)
    if span_db > most:
        raise Refusal(
            f"the bursts aren't steady: their levels differ by {in_text(span_db, 'dB', 2)}"
        )
    for fit in fits:
        usual = max(float(np.median(fit.rest)), 1e-300)
        if fit.rest.max() > max(DISTURBED * usual, DISTURBED_SHARE * fit.level**2):
            raise Refusal("the bursts aren't steady: a gap, a click or a jump disturbs one")


def _with_lines(harmonics: MeanSquare, each: Array, lines: Array) -> MeanSquare:
    """Harmonics with what lines of any phase upon them may do; each, lines: by order, V^2."""
    slope = 2 * float(each @ lines) / max(float(each.sum()), 1e-300)
    return harmonics._replace(slope=math.hypot(harmonics.slope, slope))


def _flattened(volts: Array, level: float, period: float) -> float:
    """How much lower the mean crests of the half waves are than a sine's, share of its peak.

    level: rms of the fundamental, V. period: samples.
    """
    whole = int(len(volts) / period)
    starts = np.round(np.arange(whole + 1) * period).astype(int)
    parts = [volts[first:last] for first, last in pairwise(starts.tolist())]
    middle = float(np.mean(volts[: starts[-1]]))
    crests = np.mean([[part.max() - middle, middle - part.min()] for part in parts], axis=0)
    # Samples miss a crest by half their distance at most.
    least = math.cos(math.pi / period)
    return 1 - float(crests.min()) / (least * math.sqrt(2) * level)


def _demodulated(track: Track, hz: float) -> NDArray[np.complex128]:
    """Complex amplitude, V peak, averaged over one period about each sample."""
    n = len(track.volts)
    turned = track.volts * np.exp(-2j * np.pi * hz / track.rate_hz * np.arange(n))
    width = max(round(track.rate_hz / hz), 1)
    total = np.concatenate([[0.0], np.cumsum(turned)])
    analytic = np.zeros(n, dtype=np.complex128)
    analytic[width // 2 : width // 2 + n - width + 1] = 2 * (total[width:] - total[:-width]) / width
    return analytic


def _runs(
    analytic: NDArray[np.complex128], rate_hz: float, hz: float, on_s: float
) -> list[tuple[int, int]]:
    """First and last sample of each whole burst."""
    envelope = np.abs(analytic)
    on = np.concatenate([[False], envelope > HALF * envelope.max(), [False]])
    changes = np.flatnonzero(on[1:] != on[:-1])
    begun, ended = changes[::2], changes[1::2]
    # At an edge noise may take the envelope back over the half for some samples.
    apart = begun[1:] - ended[:-1] > rate_hz / hz
    begun, ended = np.append(begun[:1], begun[1:][apart]), np.append(ended[:-1][apart], ended[-1:])
    margin = 2 * rate_hz / hz
    whole = [
        (int(first), int(last))
        for first, last in zip(begun, ended, strict=True)
        if first > margin and last < len(analytic) - margin
    ]
    if not whole:
        raise Refusal("no whole burst in the record")
    for first, last in whole:
        seconds = (last - first) / rate_hz
        if abs(seconds - on_s) > max(DURATION_WITHIN * on_s, 2 / hz):
            raise Refusal(
                f"a burst of {in_text(seconds, 's')}, where {in_text(on_s, 's', 6)} were stated"
            )
    return whole


def _check_period(starts: Sequence[int], rate_hz: float, period_s: float) -> None:
    for one, following in pairwise(starts):
        seconds = (following - one) / rate_hz
        if abs(seconds / period_s - 1) > PERIOD_WITHIN:
            raise Refusal(
                f"bursts {in_text(seconds, 's', 4)} apart, where "
                f"{in_text(period_s, 's', 6)} were stated"
            )


def _off(analytic: NDArray[np.complex128], rate_hz: float) -> float:
    """How far the frequency lies from the one demodulated with, Hz.

    Raises Refusal where the phase jumps within the burst.
    """
    phase = np.unwrap(np.angle(analytic))
    seconds = np.arange(len(phase)) / rate_hz
    slope, start = np.polyfit(seconds, phase, 1)
    if np.abs(phase - start - slope * seconds).max() > MOST_WANDER:
        raise Refusal("the bursts aren't steady: the phase jumps within one")
    return float(slope) / (2 * math.pi)


def _wander(analytic: NDArray[np.complex128], off: float, noise: float) -> float:
    """Mean square of the phase off even turning, rad^2; 0 where noise makes as much.

    off: turning as measured re that demodulated with, rad a sample. noise: as of a period, rad^2.
    """
    phase = np.unwrap(np.angle(analytic)) - off * np.arange(len(analytic))
    seen = float(np.var(phase))
    return seen if seen > WANDERS * noise else 0.0


def _wavered(fit: _Fit, wander: float) -> _Fit:
    """A fit with what wandering may have taken from its lines: orders^2 of it from each, in power.

    wander: mean square of the phase, rad^2. A sample that was lost or repeated makes some.
    """
    if not wander:
        return fit
    lost = wander * float(np.arange(2, LAST_ORDER + 1) ** 2 @ fit.each)
    level = math.hypot(fit.noise, wander / 2)
    floor = fit.harmonics.floor + lost**2
    return fit._replace(noise=level, harmonics=fit.harmonics._replace(floor=floor))


class _Fit(NamedTuple):
    """rest: mean square of what is left, by period, V^2. each: of harmonics 2 to 10, V^2."""

    level: float
    noise: float
    harmonics: MeanSquare
    rest: Array
    each: Array

    @property
    def share(self) -> MeanSquare:
        """The harmonics re the fundamental."""
        per = 1 / self.level**2
        value, floor, slope, samples = self.harmonics
        return MeanSquare(value * per, floor * per**2, slope * per, samples)


def _fitted(volts: Array, turns: float, *, slow: int) -> _Fit:
    """Least squares of fundamental, harmonics and steady part.

    turns: periods in a sample. slow: degree of the polynomial that the steady part may follow:
    hum, which has hardly a period in a burst, would show as harmonics otherwise.
    """
    angle = 2 * np.pi * turns * np.arange(len(volts))
    orders = np.arange(1, LAST_ORDER + 1)
    waves = [wave(order * angle) for order in orders for wave in (np.cos, np.sin)]
    steady = legendre.legvander(np.linspace(-1, 1, len(volts)), slow)
    basis = np.column_stack([steady[:, 0], *waves, steady[:, 1:]])
    # Sums without the linear algebra library, whose threads cost more than they save here. The
    # waves are nearly orthogonal over whole periods, so that the normal equations lose nothing.
    coefficients = np.linalg.solve(
        np.einsum("ni,nj->ij", basis, basis), np.einsum("ni,n->i", basis, volts)
    )
    rest = volts - np.einsum("ni,i->n", basis, coefficients)
    spare = len(volts) / (len(volts) - basis.shape[1])
    variance = float(np.mean(rest**2)) * spare
    lines = coefficients[1 : 1 + 2 * LAST_ORDER]
    squares = (lines[::2] ** 2 + lines[1::2] ** 2) / 2
    # White noise of that variance adds 2 / n of it to the mean square of each line.
    each = 2 * variance / len(volts)
    near = 2 * min(_density(rest, turns) * spare, variance) / len(volts)
    number = LAST_ORDER - 1
    harmonics = MeanSquare(
        float(squares[1:].sum()) - number * near, number * each**2, 2 * each, len(volts)
    )
    level = math.sqrt(float(squares[0]))
    whole = int(len(volts) * turns)
    edges = np.round(np.arange(whole) / turns).astype(int)
    by_period = np.add.reduceat(rest**2, edges) * turns
    return _Fit(level, math.sqrt(each / 2) / level, harmonics, by_period, squares[1:])


def _density(rest: Array, turns: float) -> float:
    """Variance of white noise that is as strong as the rest is about the harmonics, V^2.

    What is left of hum lies below them and is no part of it.
    """
    weights = np.hanning(len(rest))
    power = squared(np.fft.rfft(rest * weights)) / float(np.sum(weights**2))
    about = slice(math.ceil(1.5 * turns * len(rest)), int((LAST_ORDER + 0.5) * turns * len(rest)))
    return float(np.mean(power[about])) if len(power[about]) else math.inf


def _mean(parts: Sequence[MeanSquare]) -> MeanSquare:
    number = len(parts)
    return MeanSquare(
        sum(part.value for part in parts) / number,
        sum(part.floor for part in parts) / number**2,
        sum(part.slope for part in parts) / number**2,
        sum(part.samples for part in parts),
    )
