"""Several tones looked for in one track."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.background import background
from backbench.signal.flat_tops import refuse_flat_tops
from backbench.signal.record_checks import check_record
from backbench.signal.recorded_band import refuse_cut_band
from backbench.signal.spectrum import Spectrum, peak_position, peak_positions, spectrum
from backbench.signal.tone import BAND_HZ, EDGE, PASS_BAND
from backbench.signal.tone_search import GENERATOR_TOLERANCE, LEAST_POWER_FRACTION, LEAST_STEADY
from backbench.signal.tone_set import (
    MARGIN_BINS,
    NOISE_ORDER,
    ToneSet,
    clear_of_lines,
    product_positions,
)
from backbench.signal.track import Array, Track
from backbench.signal.window import FOUR_TERMS, SEVEN_TERMS
from backbench.signal.word_length import sample_step

REACH = 0.45
"""Share of the distance to the next tone within which a tone is looked for."""
FEW = 4
"""Tones whose places are worked out one by one."""
NOT_DETECTED_BELOW = 1e-3
"""A tone of less than this share of the strongest one's power (30 dB) is missing."""


def spectrum_apart(track: Track, apart_hz: float) -> Spectrum:
    """A spectrum that keeps lines apart_hz from each other apart.

    Parameters
    ----------
    track : Track
        The record.
    apart_hz : float
        Distance of the nearest lines to be told apart, Hz, > 0.

    Returns
    -------
    Spectrum
        Under the seven-term window where the record is long enough, else the four-term one.

    Raises
    ------
    Refusal
        Where the record is too short for either.
    """
    seconds = len(track.volts) / track.rate_hz
    for terms in (SEVEN_TERMS, FOUR_TERMS):
        if apart_hz * seconds >= 2 * (len(terms) + MARGIN_BINS) + 1:
            return spectrum(track, terms)
    raise Refusal(
        f"too short: lines {in_text(apart_hz, 'Hz', 4)} apart need a record of at least "
        f"{in_text(shortest_apart_s(apart_hz), 's', 2)}"
    )


def shortest_apart_s(apart_hz: float) -> float:
    """Duration of the shortest record in which lines can be told apart.

    Parameters
    ----------
    apart_hz : float
        Distance of the nearest lines, Hz, > 0.

    Returns
    -------
    float
        s.
    """
    return (2 * (len(FOUR_TERMS) + MARGIN_BINS) + 1) / apart_hz


_kept: WeakKeyDictionary[Track, dict[tuple[object, ...], ToneSet]] = WeakKeyDictionary()


def find_tones(
    track: Track, stated_hz: Sequence[float], apart_hz: float, mains_hz: float | None
) -> ToneSet:
    """The stated tones in a track, looked for at the first call and kept as long as the track.

    Parameters
    ----------
    track : Track
        The record.
    stated_hz : sequence of float
        Tones in rising order, Hz. Each may be 2 % off, by less than half the distance to the next.
    apart_hz : float
        Distance of the nearest lines to be told apart, Hz.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown.

    Returns
    -------
    ToneSet

    Raises
    ------
    Refusal
        Where the record is unfit, a tone is missing or unsteady, or the tones hold less than 60 %
        of the power.
    """
    tones = seek_tones(track, stated_hz, apart_hz, mains_hz)
    _refuse_unsteady(tones, stated_hz)
    return tones


def seek_tones(
    track: Track, stated_hz: Sequence[float], apart_hz: float, mains_hz: float | None
) -> ToneSet:
    """As find_tones, for tones that may change within the record.

    Parameters
    ----------
    track : Track
        The record.
    stated_hz : sequence of float
        See find_tones.
    apart_hz : float
        See find_tones.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown.

    Returns
    -------
    ToneSet

    Raises
    ------
    Refusal
        As find_tones, but for tones that change.
    """
    kept, key = _kept.setdefault(track, {}), (*stated_hz, apart_hz, mains_hz)
    if key not in kept:
        for _ in _search(track, stated_hz, apart_hz, mains_hz):
            pass
    return kept[key]


def seek_tones_of_each(
    tracks: Sequence[Track], stated_hz: Sequence[float], apart_hz: float, mains_hz: float | None
) -> None:
    """Have ready what seek_tones gives of several tracks, each step for all of them.

    What has just been done for one is done for the next in less time. A track that is refused is
    left to seek_tones.

    Parameters
    ----------
    tracks : sequence of Track
        Of one record.
    stated_hz : sequence of float
        See find_tones.
    apart_hz : float
        See find_tones.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown.
    """
    searches = [_search(track, stated_hz, apart_hz, mains_hz) for track in tracks]
    while searches:
        searches = [search for search in searches if _goes_on(search)]


def _goes_on(search: Iterator[None]) -> bool:
    """One more step of a search; False where it has ended."""
    try:
        next(search)
    except (StopIteration, Refusal, ValueError):
        return False
    return True


def _search(
    track: Track, stated_hz: Sequence[float], apart_hz: float, mains_hz: float | None
) -> Iterator[None]:
    """Steps of the search for tones in a track, which are kept at its end."""
    check_record(track)
    yield
    if stated_hz[-1] > PASS_BAND * EDGE * track.rate_hz:
        raise Refusal(
            f"a sample rate of {in_text(track.rate_hz, 'Hz', 6)} can't hold a tone of "
            f"{in_text(stated_hz[-1], 'Hz', 6)}"
        )
    own_spectrum = spectrum_apart(track, apart_hz)
    yield
    rooms = zip(stated_hz, _nearest(stated_hz), strict=True)
    width_hz, power = own_spectrum.resolution_hz, own_spectrum.power
    peaks = [_peak(power, hz / width_hz, room_hz / width_hz) for hz, room_hz in rooms]
    yield
    positions = _positions(own_spectrum, peaks)
    yield
    half, count = own_spectrum.window.half_width + MARGIN_BINS, len(own_spectrum.bins)
    lines = product_positions(positions, NOISE_ORDER) if len(positions) == 2 else positions
    clear = clear_of_lines(lines, half, count)
    if not clear.any():
        raise Refusal("too short: no noise can be told apart between the tones")
    yield
    noise = background(own_spectrum.power, clear, count)
    yield
    refuse_cut_band(own_spectrum, sample_step(track))
    yield
    tones = ToneSet(own_spectrum, positions, noise, mains_hz, sample_step(track))
    refuse_flat_tops(track, math.sqrt(tones.all_noise))
    _check_tones(tones, stated_hz)
    _kept.setdefault(track, {})[(*stated_hz, apart_hz, mains_hz)] = tones


def _positions(own_spectrum: Spectrum, peaks: list[int]) -> Array:
    """Fractional bins of lines: of few one by one, which is quicker."""
    if len(peaks) > FEW:
        return peak_positions(own_spectrum, np.array(peaks))
    return np.array([peak_position(own_spectrum, peak) for peak in peaks])


def _nearest(stated_hz: Sequence[float]) -> list[float]:
    """Distance of each tone to the nearest other, or to 0 Hz."""
    around = zip([0.0, *stated_hz], stated_hz, [*stated_hz[1:], math.inf], strict=False)
    return [min(hz - below, above - hz) for below, hz, above in around]


def _peak(power: Array, stated: float, room: float) -> int:
    """Greatest bin near where a tone is stated to be; room: to the next tone. All in bins."""
    reach = max(min(GENERATOR_TOLERANCE * stated, REACH * room), 2.0)
    first = max(int(stated - reach), 1)
    last = min(int(stated + reach) + 2, len(power) - 1)
    return first + int(power[first:last].argmax())


def _check_tones(tones: ToneSet, stated_hz: Sequence[float]) -> None:
    """Raises Refusal where a tone is missing, or most of the signal is something else."""
    strongest = max(tone.value for tone in tones.tones)
    peaks = _are_peaks(tones.spectrum, np.rint(tones.positions).astype(int))
    for k, (tone, is_peak) in enumerate(zip(tones.tones, peaks.tolist(), strict=True)):
        if not (is_peak and tone.stands_out and tone.value >= NOT_DETECTED_BELOW * strongest):
            raise Refusal(_missing(tones, stated_hz, k))
    spectrum = tones.spectrum
    top = int(max(BAND_HZ[1] / spectrum.resolution_hz, tones.positions[-1] + tones.half)) + 1
    whole = float(spectrum.power[spectrum.window.half_width + 1 : top].sum())
    if tones.together.value < LEAST_POWER_FRACTION * whole:
        raise Refusal(_missing(tones, stated_hz, None))


def _refuse_unsteady(tones: ToneSet, stated_hz: Sequence[float]) -> None:
    """Raises Refusal where a tone's frequency or level changes."""
    for hz, tone, middle in zip(stated_hz, tones.tones, tones.middles, strict=True):
        least = LEAST_STEADY * tone.value
        if middle < least and middle < least - 4 * math.sqrt(tone.variance):
            raise Refusal(
                f"the tone near {in_text(hz, 'Hz', 6)} isn't steady: its frequency or level "
                "changes within the record"
            )


def _are_peaks(own_spectrum: Spectrum, nearest: NDArray[np.int_]) -> NDArray[np.bool_]:
    """Whether a line stands at each bin, rather than the foot of one further off."""
    last = len(own_spectrum.power) - 1
    around = np.minimum(np.maximum(np.add.outer(np.arange(-2, 3), nearest), 0), last)
    power = own_spectrum.power[around]
    within = np.maximum.reduce(power[1:4])
    peaks: NDArray[np.bool_] = (within >= power[0]) & (within >= power[4])
    return peaks


def _missing(tones: ToneSet, stated_hz: Sequence[float], lost: int | None) -> str:
    """What is amiss, with the strongest line that was not stated where one stands out."""
    near = "the stated tones hold less than most of the signal"
    there = tones.positions
    if lost is not None:
        near, there = f"no tone near {in_text(stated_hz[lost], 'Hz', 6)}", np.delete(there, lost)
    spectrum = tones.spectrum
    clear = clear_of_lines(there, tones.half, len(spectrum.bins))
    peak = int(np.argmax(np.where(clear, spectrum.power, 0.0)[:-1]))
    if spectrum.power[peak] < NOT_DETECTED_BELOW * max(tone.value for tone in tones.tones):
        return near
    at = peak_position(spectrum, peak) * spectrum.resolution_hz
    return f"{near}; a strong line that was not stated is at {in_text(at, 'Hz', 6)}"
