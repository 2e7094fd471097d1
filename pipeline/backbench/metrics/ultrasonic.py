"""Lines above the audio band: an oscillation of the unit, a switching supply, or pick-up."""

from __future__ import annotations

import math
from functools import lru_cache

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
    if not isinstance(seen, IdleView):
        power = _beside_harmonics(seen, power, first)
    peak, beside = _highest(power)
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


def _beside_harmonics(tone: ToneView, power: Array, first: int) -> Array:
    """Power from bin `first` on without what is a harmonic's of the tone, or where sampling mirrors
    one."""
    lines, left = tone.lines, power.copy()
    taken = bins_of_harmonics(lines.position, lines.half, len(lines.noise))
    ends = taken.searchsorted((first, first + len(power)))
    left[taken[slice(*ends.tolist())] - first] = 0.0
    for place in tone.mirrored:
        at = place.seen_hz / lines.spectrum.resolution_hz - first
        own = math.ceil(at - lines.half), math.floor(at + lines.half) + 1
        left[max(own[0], 0) : max(own[1], 0)] = 0.0
    return left


def _highest(power: Array) -> tuple[int, float]:
    """The bin that is highest over the mean noise of its range of bins, and that noise.

    The noise comes from the median of a range, chi-squared of two degrees of freedom, without what
    is 0. Of most ranges a look tells that their highest bin is less high over it than another's.
    """
    starts, widths = _ranges(len(power))
    tops, sums = np.maximum.reduceat(power, starts), np.add.reduceat(power, starts)
    best = int((tops / np.maximum(sums, TINY) * widths).argmax())
    top = float(tops[best])
    if top == 0:
        return 0, math.inf
    noise = _noise(_range(power, starts, best))
    level = tops * (noise * LN_2 / top)
    # Half of a range at or above the level: its median is, too.
    above = (power >= np.repeat(level, widths)).view(np.int8)
    counts = np.add.reduceat(above, starts, dtype=np.int32)
    for n in (2 * counts <= widths).nonzero()[0].tolist():
        own = _noise(_range(power, starts, n))
        if tops[n] / own > tops[best] / noise:
            best, noise = n, own
    return int(starts[best]) + int(_range(power, starts, best).argmax()), noise


@lru_cache(maxsize=4)
def _ranges(count: int) -> tuple[NDArray[np.int_], NDArray[np.int_]]:
    """First bins of the ranges that so many bins are parted into, and how many are in each."""
    number = max((count - BACKGROUND_BINS // 2 - 1) // BACKGROUND_BINS, 0) + 1
    starts = BACKGROUND_BINS * np.arange(number)
    return starts, np.diff(starts, append=count)


def _range(power: Array, starts: NDArray[np.int_], n: int) -> Array:
    """The bins of one of the ranges, of which the last is the longest."""
    return power[starts[n] : starts[n + 1] if n + 1 < len(starts) else None]


def _noise(power: Array) -> float:
    """Mean noise by the median of what is above 0; infinite where nothing is."""
    held = power[power > 0]
    return max(middle_of_own(held) / LN_2, TINY) if len(held) else math.inf


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
