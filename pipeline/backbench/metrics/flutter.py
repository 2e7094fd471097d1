"""Wow and flutter of a tape or disc machine from the playback of a test tone."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np

from backbench.errors import NotApplicable, Refusal
from backbench.metrics import least_asked
from backbench.metrics.declaration import CurveData, MeasuredValue, curve, metric
from backbench.metrics.session_spreads import FLUTTER
from backbench.metrics.traits import OF_A_SPEED_TONE, Traits
from backbench.metrics.transport_speed import TransportView
from backbench.quantities.writing import in_text
from backbench.signal.flutter import (
    DETECTOR_ERROR,
    HIGH_HZ,
    LOW_HZ,
    SETTLE_S,
    TWO_SIGMA,
    WEIGHTING_ERROR_DB,
    deviation,
    noise_of,
    quasi_peak,
    unweighted,
    weighted,
)
from backbench.signal.track import Array
from backbench.signal.uncertainty import DB_PER_RELATIVE, Contribution, combine

FAMILY = "Tape and disc speed"

TONES_HZ, TONE_WITHIN = (3150.0, 3000.0), 0.1
LEAST_S = 5.0
BLOCK_S, LEAST_BLOCKS = 1.8, 4
"""A turn of a disc at 33 1/3; parts of which each shows how the figure scatters."""
NOISE_SHARE = 0.7
"""Noise of more than this share of the rms makes the figure a bound."""
Detector = Callable[[Array, float], float]

_CURVE = WEIGHTING_ERROR_DB / DB_PER_RELATIVE / math.sqrt(3)
_METER = DETECTOR_ERROR / math.sqrt(3)
_SOURCE = "IEC 60386, AES6 (tone and shape of the weighting from an abstract; "
_WEIGHTED = (
    "weighting table from memory, followed within 0.35 dB by a filter of least phase; of the "
    "longest stretch without a drop-out, 5 s at least, its first 4 s left out; the flutter of the "
    "test record or tape itself is not known and not taken off"
)
_BAND = (
    f"{in_text(LOW_HZ, 'Hz')} to {in_text(HIGH_HZ, 'Hz')} (common practice); of the longest "
    "stretch without a drop-out, 5 s at least, its first 4 s left out; the flutter of the test "
    "record or tape itself is not known and not taken off"
)


def _rms(course: Array, rate_hz: float) -> float:
    return float(np.sqrt(np.mean(np.square(course))))


def _two_sigma(course: Array, rate_hz: float) -> float:
    return float(np.quantile(np.abs(course), TWO_SIGMA))


def _peak(course: Array, rate_hz: float) -> float:
    return float(quasi_peak(course, rate_hz).max())


def _figure(seen: TransportView, detect: Detector, *, is_weighted: bool) -> MeasuredValue:
    """A detector's reading with what the record, filter, meter and noise make uncertain."""
    course = _course(seen, is_weighted=is_weighted)
    rate_hz = seen.tone.rate_hz
    value = detect(course, rate_hz)
    own, dof = _scatter(course, rate_hz, detect)
    share = min(noise_of(seen.tone, is_weighted=is_weighted) / _rms(course, rate_hz), 1.0)
    added = value * (1 - math.sqrt(1 - share**2))
    parts = [Contribution(own, dof), Contribution(added)]
    if is_weighted:
        parts.append(Contribution(_CURVE * value))
    if detect is _peak:
        parts.append(Contribution(_METER * value))
    total = combine(parts)
    noisy = share > NOISE_SHARE
    return MeasuredValue(
        value, total.u, math.hypot(own, added), total.dof, "upper" if noisy else None,
        remark="noise beside the tone makes most of it" if noisy else _left_out(seen),
    )  # fmt: skip


def _course(seen: TransportView, *, is_weighted: bool) -> Array:
    """The filtered course of the speed, %. Raises where none can be told."""
    stated = seen.stated_hz
    if all(abs(stated / hz - 1) > TONE_WITHIN for hz in TONES_HZ):
        raise NotApplicable(
            f"flutter is defined for a tone of 3150 Hz or 3000 Hz, not {in_text(stated, 'Hz', 6)}"
        )
    tone = seen.tone
    found = deviation(tone)
    seconds, needed = len(found) / tone.rate_hz, LEAST_S + SETTLE_S
    if seconds < needed:
        raise Refusal(
            f"the longest stretch without a drop-out lasts {in_text(seconds, 's')}: "
            f"{in_text(needed, 's')} are needed"
        )
    return weighted(found, tone.rate_hz) if is_weighted else unweighted(found, tone.rate_hz)


def _left_out(seen: TransportView) -> str | None:
    clear = seen.tone.clear
    seconds, whole = (clear.stop - clear.start) / seen.tone.rate_hz, seen.tone.seconds
    if seconds > 0.99 * whole:
        return None
    return f"of {in_text(seconds, 's', 2)} between drop-outs in {in_text(whole, 's', 2)}"


def _scatter(course: Array, rate_hz: float, detect: Detector) -> tuple[float, int]:
    """Standard uncertainty by how parts of the record differ, and its degrees of freedom.

    A peak is that of the whole record: parts show by how much another record's may differ.
    """
    count = max(LEAST_BLOCKS, int(len(course) / (BLOCK_S * rate_hz)))
    length = len(course) // count
    parts = course[: count * length].reshape(count, length)
    if detect is _peak:
        each = quasi_peak(course, rate_hz)[: count * length].reshape(count, length).max(axis=1)
        return float(each.std(ddof=1)), count - 1
    each = np.array([detect(part, rate_hz) for part in parts])
    return float(each.std(ddof=1)) / math.sqrt(count), count - 1


@metric(
    "flutter_two_sigma",
    title="Wow and flutter, weighted, two sigma",
    unit="%",
    better="lower",
    source=_SOURCE + "that and the detector's two sigma second-hand, its quantile from memory)",
    stimuli=["transport"],
    version=1,
    choice="the magnitude that 95.45 % of the time stays below: of a sine 0.997 of its peak; "
    + _WEIGHTED,
    traits=Traits(
        compared_at=OF_A_SPEED_TONE, position=201, only_with="transport", session_spread=FLUTTER
    ),
)
def flutter_two_sigma(seen: TransportView) -> MeasuredValue:
    """Deviation of the weighted speed from its mean, by the two-sigma detector, as ± %."""
    return _figure(seen, _two_sigma, is_weighted=True)


@metric(
    "flutter_quasi_peak",
    title="Wow and flutter, weighted, quasi-peak",
    unit="%",
    better="lower",
    source=_SOURCE + "two of the meter's responses second-hand, the others from memory)",
    stimuli=["transport"],
    version=1,
    choice="highest place of a meter of half the height from peak to peak, whose readings of "
    "pulses of 10, 30, 60, 100 ms are 24, 58, 88, 109 % of a sine's where 21, 62, 90, 100 % are "
    "stated; " + _WEIGHTED,
    traits=Traits(
        compared_at=OF_A_SPEED_TONE, position=202, only_with="transport", session_spread=FLUTTER,
        asked=least_asked.WEIGHTED_FLUTTER,
        also_called=("wow and flutter din", "w&f din", "wow and flutter weighted peak"),
    ),
)  # fmt: skip
def flutter_quasi_peak(seen: TransportView) -> MeasuredValue:
    """Deviation of the weighted speed from its mean, by the quasi-peak meter, as ± %."""
    return _figure(seen, _peak, is_weighted=True)


@metric(
    "flutter_rms",
    title="Wow and flutter, weighted, rms",
    unit="%",
    better="lower",
    source="JIS C 5521, NAB (weighted rms by the weighting of IEC 60386; from memory)",
    stimuli=["transport"],
    version=1,
    choice="rms over the record, not comparable with a peak; " + _WEIGHTED,
    traits=Traits(
        compared_at=OF_A_SPEED_TONE, position=203, only_with="transport", session_spread=FLUTTER,
        also_called=("wow and flutter wrms", "w&f wrms", "wrms", "wow and flutter jis"),
    ),
)  # fmt: skip
def flutter_rms(seen: TransportView) -> MeasuredValue:
    """Rms of the weighted deviation of the speed from its mean."""
    return _figure(seen, _rms, is_weighted=True)


@metric(
    "flutter_unweighted_peak",
    title="Wow and flutter, unweighted, quasi-peak",
    unit="%",
    better="lower",
    source="IEC 60386 (quasi-peak meter; from memory)",
    stimuli=["transport"],
    version=1,
    choice="by the meter of the weighted figure; " + _BAND,
    traits=Traits(
        compared_at=OF_A_SPEED_TONE, position=204, only_with="transport", session_spread=FLUTTER,
        on_request=True,
    ),
)  # fmt: skip
def flutter_unweighted_peak(seen: TransportView) -> MeasuredValue:
    """Deviation of the speed from its mean, by the quasi-peak meter, as ± %."""
    return _figure(seen, _peak, is_weighted=False)


@metric(
    "flutter_unweighted_rms",
    title="Wow and flutter, unweighted, rms",
    unit="%",
    better="lower",
    source="NAB (unweighted rms; from memory)",
    stimuli=["transport"],
    version=1,
    choice=_BAND,
    traits=Traits(
        compared_at=OF_A_SPEED_TONE, position=205, only_with="transport", session_spread=FLUTTER
    ),
)
def flutter_unweighted_rms(seen: TransportView) -> MeasuredValue:
    """Rms of the deviation of the speed from its mean."""
    return _figure(seen, _rms, is_weighted=False)


@curve(
    "flutter_spectrum",
    title="Flutter by its frequency",
    x_unit="Hz",
    y_unit="%",
    stimuli=["transport"],
    version=1,
)
def flutter_spectrum(seen: TransportView) -> CurveData:
    """Rms of the speed's deviation by frequency, as a line of a Hann window shows it."""
    from scipy import fft

    course = _course(seen, is_weighted=False)
    window = _hann(len(course))
    size = np.abs(fft.rfft(course * window)) * math.sqrt(2) / window.sum()
    hz = np.arange(len(size)) * seen.tone.rate_hz / len(course)
    shown = (hz >= LOW_HZ) & (hz <= HIGH_HZ)
    return CurveData(hz[shown], size[shown])


@lru_cache(maxsize=4)
def _hann(count: int) -> Array:
    return np.hanning(count)
