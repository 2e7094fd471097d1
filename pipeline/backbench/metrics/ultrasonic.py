"""Lines above the audio band: an oscillation of the unit, a switching supply, or pick-up."""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from backbench.errors import NotApplicable
from backbench.metrics.declaration import MeasuredValue, metric
from backbench.metrics.noise import IdleView, rms_of_lines
from backbench.metrics.tone import ToneView
from backbench.metrics.warnings import warning
from backbench.quantities.writing import in_text
from backbench.signal.background import degrees_of_freedom
from backbench.signal.power import line_power
from backbench.signal.quantiles import middle_of_own
from backbench.signal.tone import BAND_HZ, PASS_BAND
from backbench.signal.tone_position import bins_of_harmonics
from backbench.signal.track import Array
from backbench.signal.uncertainty import ONE_SIDED

FAMILY = "Noise and hum"
LEAST_WIDTH_HZ = 1_000.0
"""Of band above 20 kHz; below it there is no room for a line beside the edge."""
BACKGROUND_BINS = 400
TINY = float(np.finfo(float).tiny)
LN_2 = math.log(2)
SURELY = 1 + 1e-5
"""Far more than single precision may move the ratio of two powers."""
SMALLEST = 1e-25
"""V^2, below which the powers of a record are too small for single precision."""

Single = NDArray[np.float32] | Array
"""Powers of few digits, where these will do."""
STRONG_RE_TONE = 10 ** (-60 / 20)
STRONG_IDLE_V = 1e-3
"""From these on a line is warned of: common practice, no source."""
LINE_OVER_NOISE = 30.0
"""Times the noise that a bin must reach: by chance once in 10 000 records of 10^9 bins."""
IN_TOP_BIN = 0.34
"""Share of a line's power in the greatest of its bins, where it lies between two (computed)."""


@metric(
    "ultrasonic_line",
    title="Strongest line above 20 kHz",
    unit="V",
    better="lower",
    source="common practice, no source: instability shows as a line above the audio band",
    stimuli=["tone", "idle"],
    version=2,
    choice="rms of the strongest line between 20 kHz and the end of the record's band, harmonics "
    "of a tone left out, the bench's own included; an upper bound where none stands out",
)
def ultrasonic_line(seen: ToneView | IdleView) -> MeasuredValue:
    """Level of the strongest line beyond 20 kHz, with nothing playing or beside a tone."""
    own = seen.spectrum if isinstance(seen, IdleView) else seen.lines.spectrum
    top_hz = PASS_BAND * own.rate_hz
    if top_hz < BAND_HZ[1] + LEAST_WIDTH_HZ:
        raise NotApplicable(f"the record's band ends at {in_text(top_hz, 'Hz', 4)}")
    lobe = own.window.half_width
    first, last = int(BAND_HZ[1] / own.resolution_hz) + 2 * lobe, int(top_hz / own.resolution_hz)
    power = own.power[first:last]
    peak, beside = _highest(power, _looked_at(seen, power, first))
    around = slice(max(first + peak - lobe, 0), first + peak + lobe + 1)
    neighbours = np.full(around.stop - around.start, beside)
    samples = degrees_of_freedom(first + peak, own.window.spread)
    square = line_power(own.power[around], neighbours, own.window.spread, samples)
    if power[peak] < LINE_OVER_NOISE * beside:
        # The greatest of many bins is no line: what one must have to be seen in 99 of 100 records.
        reaching = math.sqrt(LINE_OVER_NOISE) + ONE_SIDED / math.sqrt(2)
        most = max(reaching * math.sqrt(beside / IN_TOP_BIN), square.lifted_at_most)
        return MeasuredValue(most, most * seen.track.calibration, bound="upper")
    hz = (first + peak) * own.resolution_hz
    return rms_of_lines(square, seen.track, remark=_remark(seen, square.rms, hz))


def _looked_at(seen: ToneView | IdleView, power: Array, first: int) -> Single:
    """Power from bin `first` on in few digits, without what is a harmonic's of a tone, or where
    sampling mirrors one."""
    # As small as single precision holds, it is quick to look through; else it is as it was.
    lines = seen if isinstance(seen, IdleView) else seen.lines
    least = min(float(lines.noise[first]), float(lines.noise[first + len(power) - 1]))
    left: Single = power.astype(np.float32) if least > SMALLEST else power.copy()
    if isinstance(lines, IdleView) or isinstance(seen, IdleView):
        return left
    taken = bins_of_harmonics(lines.position, lines.half, len(lines.noise))
    ends = taken.searchsorted((first, first + len(power)))
    left[taken[slice(*ends.tolist())] - first] = 0.0
    for place in seen.mirrored:
        at = place.seen_hz / lines.spectrum.resolution_hz - first
        own = math.ceil(at - lines.half), math.floor(at + lines.half) + 1
        left[max(own[0], 0) : max(own[1], 0)] = 0.0
    return left


def _highest(power: Array, looked_at: Single) -> tuple[int, float]:
    """The bin that is highest over the mean noise of its range of bins, and that noise.

    The noise comes from the median of a range, chi-squared of two degrees of freedom, without what
    is 0. Of most ranges a look tells that their highest bin is less high over it than another's.
    """
    starts, widths, each = _ranges(len(power))
    tops, sums = np.maximum.reduceat(looked_at, starts), np.add.reduceat(looked_at, starts)
    best = int((tops / np.maximum(sums, SMALLEST) * widths).argmax())
    if tops[best] == 0:
        return 0, math.inf

    top, noise = _top_and_noise(power, looked_at, each[best])
    # Half of a range at or above the level: its median is, too.
    level = tops * (SURELY * LN_2 * noise / top)
    above = (looked_at >= np.repeat(level, widths)).view(np.int8)
    counts = np.add.reduceat(above, starts, dtype=np.int32)
    for n in (2 * counts <= widths).nonzero()[0].tolist():
        other = _top_and_noise(power, looked_at, each[n])
        if other[0] / other[1] > top / noise:
            best, (top, noise) = n, other
    bins = each[best]
    return bins.start + int(np.where(looked_at[bins] > 0, power[bins], 0.0).argmax()), noise


def _top_and_noise(power: Array, looked_at: Single, bins: slice) -> tuple[float, float]:
    """The highest of a range of bins, and their mean noise by the median, of what counts, V^2."""
    held = power[bins][looked_at[bins] > 0]
    if not len(held):
        return 0.0, math.inf
    top = float(held.max())
    return top, max(middle_of_own(held) / LN_2, TINY)


@lru_cache(maxsize=4)
def _ranges(count: int) -> tuple[NDArray[np.int_], NDArray[np.int_], list[slice]]:
    """First bins of the ranges that so many bins are parted into, how many are in each, and both.

    The last is the longest.
    """
    number = max((count - BACKGROUND_BINS // 2 - 1) // BACKGROUND_BINS, 0) + 1
    starts = BACKGROUND_BINS * np.arange(number)
    ends = [*starts.tolist(), count]
    return starts, np.diff(ends), [slice(*pair) for pair in pairwise(ends)]


def _remark(seen: ToneView | IdleView, rms: float, hz: float) -> str | None:
    """A warning where the line is strong."""
    where = f"a line at {in_text(hz, 'Hz', 4)}"
    cause = (
        "the unit may oscillate, which heats it and can destroy loudspeakers, or a switching "
        "supply gets in: watch the output on an oscilloscope before going on"
    )
    if isinstance(seen, IdleView):
        return warning(f"{where}: {cause}") if rms > STRONG_IDLE_V else where
    level = f"{where}, {in_text(round(20 * math.log10(rms / seen.square.rms)), 'dB')} re the tone"
    return warning(f"{level}: {cause}") if rms > STRONG_RE_TONE * seen.square.rms else level
