"""Hum and hiss with nothing playing: how much of each, and which of them rules."""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.metrics.band_sums import Weighting, rms_known_to
from backbench.metrics.bench_floor import CHOICE, LINE_CHOICE, less_lines, less_noise
from backbench.metrics.declaration import MeasuredValue, metric
from backbench.metrics.lines_elsewhere import bounded_elsewhere
from backbench.metrics.noise import IdleView, line_figure
from backbench.metrics.noise_in_time import HISS_HZ, known_to
from backbench.metrics.sample_steps import (
    HALF_STEP,
    LOST,
    STEPS_CHOICE,
    cut_remark,
    dither_off,
    lost_power,
    with_undithered_steps,
)
from backbench.metrics.slow_course import slow_course
from backbench.metrics.spread_lines import between_lines
from backbench.metrics.warnings import joined
from backbench.quantities.writing import in_text
from backbench.signal.line_course import LineCourse, line_course
from backbench.signal.line_wavering import wavering_of_each
from backbench.signal.mains import clear_of_mains
from backbench.signal.power import STANDING, MeanSquare, product
from backbench.signal.quantiles import middle_of_own
from backbench.signal.recorded_band import shown
from backbench.signal.tone import BAND_HZ
from backbench.signal.track import Array
from backbench.signal.uncertainty import DB_PER_RELATIVE, Contribution, combine

FAMILY = "Noise and hum"

MEDIAN_EFFICIENCY = 0.74
"""A window raises the variance of a median by less than that of a sum: found by simulation of
15,000 bands."""
BACKGROUND_BINS = 6000.0
"""Bins that the background of a wide band rests on at most: 700 of each third of an octave, of
which the uppermost weigh most (computed)."""
THIRDS = 10
"""Thirds of an octave in that band."""
WAVERS = 0.3
"""Power by which the strongest line is off one level and even turning, re the noise beside it, from
which it is told of: common practice, no source."""
_PRACTICE = "common practice, no source"
CAUSES = {
    1: "mostly at the mains frequency: stray field, heaters or an earth loop",
    2: "mostly at twice the mains: ripple of a full-wave rectifier",
    3: "mostly at higher multiples: rectifier buzz",
}
"""What reviewers take each for: common practice, no source."""


def _together(lines: list[MeanSquare]) -> MeanSquare:
    """Mean squares of lines added; what each strong line adds to the variance stays with it."""
    value = sum(line.value for line in lines)
    floor = sum(line.floor for line in lines)
    added = sum(line.slope * max(line.value, 0.0) for line in lines)
    slope = added / value if value > STANDING * math.sqrt(floor) else lines[0].slope
    return MeanSquare(value, floor, slope, lines[0].samples)


@metric(
    "hum",
    title="Hum",
    unit="V",
    better="lower",
    source=f"{_PRACTICE}: residual hum",
    stimuli=["idle"],
    version=4,
    choice="root sum square of multiples 1 to 10 of the mains frequency as found, noise taken "
    "off; an upper bound where the sum doesn't stand out" + LINE_CHOICE,
)
def hum(idle: IdleView) -> MeasuredValue:
    """Root sum square of the mains lines 1 to 10."""
    return less_lines(idle, _hum)


def _hum(idle: IdleView) -> MeasuredValue:
    square = _together([square for _, _, square in idle.hum()])
    return bounded_elsewhere(line_figure(square, idle), idle.elsewhere, _together)


@metric(
    "hiss",
    title="Hiss density",
    unit="V/√Hz",
    better="lower",
    source=_PRACTICE,
    stimuli=["idle"],
    version=6,
    choice="root of the mean power over 1 kHz to 10 kHz, from the median of each third of an "
    "octave, clear of mains lines, half way between those of buzz that are spread"
    + STEPS_CHOICE
    + CHOICE,
)
def hiss(idle: IdleView) -> MeasuredValue:
    """Noise per root hertz between 1 kHz and 10 kHz, away from lines."""
    return less_noise(idle, _hiss)


class _Level(NamedTuple):
    """Mean noise power by bin, V^2, and the bins that it rests on as if all counted alike."""

    square: float
    bins: float


def _mean_of_thirds(power: Array, parts: _Thirds, spread: float) -> _Level:
    """From the median of each third of an octave.

    power: left in another order. spread: of the window.

    Noise powers are chi-squared of two degrees of freedom: their median is ln 2 of the mean, within
    bands so narrow that the noise is about level there; that of n powers is greater by the share
    1 / (2 n ln 2) on average. Each band counts by its width, however many of its bins mains lines
    leave: a bin of the low thirds counts for more than one.
    """
    counts, shares = parts.counts, parts.shares
    greater = 1 + spread * MEDIAN_EFFICIENCY / (2 * counts * math.log(2))
    medians = np.array([middle_of_own(power[a:b]) for a, b in parts.ranges]) / greater
    scatter = shares * medians / np.sqrt(counts)
    mean = float(shares @ medians)
    return _Level(mean / math.log(2), mean**2 / float(scatter @ scatter))


class _Thirds(NamedTuple):
    """Some bins of a band, counted from its first, their ranges by third of an octave, how many
    bins each has, and its share of the band."""

    bins: NDArray[np.intp]
    ranges: list[tuple[int, int]]
    counts: NDArray[np.intp]
    shares: Array


@lru_cache(maxsize=4)
def _thirds(clear: bytes, first: int) -> _Thirds:
    """clear: whether each bin of the band from `first` on is meant. Kept, as records of one length
    have the same; empty thirds are left out."""
    inside = np.flatnonzero(np.frombuffer(clear, dtype=np.bool_))
    bins = inside + first
    edges = np.geomspace(bins[0], bins[-1] + 1, THIRDS + 1)
    cuts = [0, *np.searchsorted(bins, edges[1:-1]).tolist(), len(bins)]
    ranges = list(pairwise(cuts))
    held = [n for n, (first, last) in enumerate(ranges) if last > first]
    widths = np.diff(edges)[held]
    counts = np.diff(cuts)[held]
    return _Thirds(inside, [ranges[n] for n in held], counts, widths / widths.sum())


def _hiss(idle: IdleView) -> MeasuredValue:
    own = idle.spectrum
    chosen = own.slice_of(*HISS_HZ)
    steady = clear_of_mains(own, idle.capture_data.mains_hz)[chosen]
    clear, remark = between_lines(idle, chosen, steady)
    parts, spread = _thirds(clear.tobytes(), chosen.start), own.window.spread
    level = _mean_of_thirds(own.power[chosen][parts.bins], parts, spread)
    value = math.sqrt(level.square / own.resolution_hz)
    dof = 2 * math.log(2) ** 2 * level.bins / (spread * MEDIAN_EFFICIENCY)
    known = known_to(1 / math.sqrt(2 * dof), dof, spread, idle.hiss_by_block)
    estimation = value * known.u
    total = combine(
        [Contribution(estimation, known.dof), Contribution(value * idle.track.calibration)]
    )
    density = MeasuredValue(value, total.u, estimation, total.dof, remark=remark)
    if not idle.is_dithered:
        width = HISS_HZ[1] - HISS_HZ[0]
        return with_undithered_steps(density, HALF_STEP * idle.step_v / math.sqrt(width))
    return dither_off(density, idle.step_v / math.sqrt(own.rate_hz / 2))


@metric(
    "hum_over_hiss",
    title="Hum-to-hiss ratio",
    unit="dB",
    better="neither",
    source=_PRACTICE,
    stimuli=["idle"],
    version=7,
    choice="mains lines 1 to 10 over the noise between lines, 20 Hz to 20 kHz unweighted, the "
    "bench's own included; above 0 dB hum rules; the remark names the likely cause as reviewers do",
)
def hum_over_hiss(idle: IdleView) -> MeasuredValue:
    """Hum over the noise beside it, 20 Hz to 20 kHz: which of the two dominates."""
    lines = idle.hum()
    if not idle.is_dithered:
        raise Refusal(
            "the noise is too weak to blur the steps of the samples, which make lines of noise and "
            "noise of lines; use a more sensitive input range"
        )
    square = _together([line for _, _, line in lines])
    chosen, _ = idle.band
    noise = float(idle.noise[chosen].sum())
    if not square.surely_stands_out:
        each = [square, *(_together(other.lines) for other in idle.elsewhere)]
        lines_at_most = max(lines.lifted_at_most for lines in each)
        most = 20 * math.log10(lines_at_most / math.sqrt(_least_noise(idle)))
        seen = square.stands_out and most < 0
        none = "hiss dominates" if seen else "no hum stands out"
        return MeasuredValue(most, 0.0, bound="upper", remark=none)
    lost = _lost_share(idle, chosen, noise)
    known = (square.relative, _background_known_to(idle, chosen), lost / math.sqrt(12))
    value, own = 10 * math.log10(square.value / noise), DB_PER_RELATIVE * math.hypot(*known)
    cut = cut_remark(idle) if lost > LOST else None
    remark = joined(_dominant_remark(value, own, lines), _wavering_hum(idle, lines, noise), cut)
    return MeasuredValue(value, own, own, square.samples, remark=remark)


def _lost_share(idle: IdleView, band: slice, noise: float) -> float:
    """Power that the noise of a band may have lost at its end, re what is left of it."""
    first = min(shown(idle).hz / idle.spectrum.resolution_hz, band.stop)
    return lost_power(idle, band.stop - first) / noise


def _background_known_to(idle: IdleView, band: slice) -> float:
    """Relative standard uncertainty of the rms of the noise between lines in a band.

    Of noise that is strong in few bins, as at low frequencies, these alone tell; noise that comes
    in events is known by how it scatters.
    """
    noise, spread = idle.noise[band], idle.spectrum.window.spread
    whole = float(noise.sum())
    bins = min(whole**2 / (product(noise, noise) * spread), BACKGROUND_BINS)
    dof = 2 * math.log(2) ** 2 * bins
    square = MeanSquare(whole, 2 * whole**2 / dof, 0.0, dof)
    summed = idle.sums[Weighting.NONE]._replace(square=square, noise=whole)
    return rms_known_to(summed, spread).u


def _least_noise(idle: IdleView) -> float:
    """Mean square between lines of 20 Hz to 20 kHz, at whichever sample rate it is least, V^2."""
    shares = [idle.track.rate_hz / rate for rate in idle.other_rates]
    band = idle.spectrum.slice_of(BAND_HZ[0], min([1.0, *shares]) * BAND_HZ[1])
    return float(idle.noise[band].sum())


def _wavering_hum(
    idle: IdleView, lines: list[tuple[int, float, MeanSquare]], noise: float
) -> str | None:
    """A remark where lines waver or jump: what leaves their lobes counts as noise.

    A block that is lost or repeated moves those of rectifier buzz the more the higher they are.
    noise: mean square between the lines, V^2.
    """
    standing = [line for line in lines if line[2].surely_stands_out]
    if not standing:
        return None
    strongest = max(standing, key=lambda line: line[2].value)
    hz = np.array([strongest[1], *(line[1] for line in standing if line is not strongest)])
    try:
        course = line_course(*slow_course(idle.track), hz)
    except ValueError:
        return None
    power = {hz: line.value for _, hz, line in standing}
    spread = _spread(course)
    off = [share * power[at] for share, at in zip(spread, hz.tolist(), strict=True)]
    if sum(off) <= WAVERS * noise:
        return None
    most = off.index(max(off))
    return (
        f"the mains line at {in_text(float(hz[most]), 'Hz', 4)} wavers or jumps by "
        f"{in_text(100 * math.sqrt(spread[most]), '%', 2)} rms within the record, which may make "
        "noise beside it of its own"
    )


def _spread(course: LineCourse) -> list[float]:
    """Mean square by which each line wavers more than noise makes it seem to, re its own; >= 0."""
    seeming = 2 * course.usual_left / course.length / course.usual_level**2
    spread: list[float] = np.maximum(wavering_of_each(course) - seeming, 0.0).tolist()
    return spread


def _dominant_remark(value: float, u: float, lines: list[tuple[int, float, MeanSquare]]) -> str:
    if abs(value) <= 2 * u:
        return "hum and hiss are alike"
    if value < 0:
        return "hiss dominates"
    shares = {1: 0.0, 2: 0.0, 3: 0.0}
    for multiple, _, square in lines:
        shares[min(multiple, 3)] += max(square.value, 0.0)
    cause = CAUSES[max(shares, key=lambda n: shares[n])]
    return f"hum dominates, {cause} ({_PRACTICE})"
