"""Whether a track holds the tone that was stated, and at which frequency."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Sequence
from weakref import WeakKeyDictionary

import numpy as np

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.flat_tops import refuse_flat_tops
from backbench.signal.record_checks import check_record
from backbench.signal.recorded_band import refuse_cut_band
from backbench.signal.sample_rates import CLOCKS, fitting_rate
from backbench.signal.spectrum import Spectrum, peak_position, spectrum
from backbench.signal.tone import BAND_HZ, ToneLines
from backbench.signal.tone_position import TonePlace, tone_at, tones_at
from backbench.signal.tones_together import have_lines_ready
from backbench.signal.track import Track
from backbench.signal.window import FOUR_TERMS, SEVEN_TERMS
from backbench.signal.word_length import sample_step

GENERATOR_TOLERANCE = 0.02
PLACED_TO = 0.25
"""Bins to which lines beside a tone may move its place."""
LEAST_POWER_FRACTION = 0.6
LEAST_STEADY = 0.97
LEAST_PERIODS = 10
FULL_PERIODS = 16
SQUARE_ORDERS = (3, 5, 7)
SQUARE_SHARE = 0.7
"""A harmonic of at least this share of a square wave's own is taken for one."""
SQUARE_EVEN = 0.1
"""Even harmonics of a square wave, at most, as shares of the fundamental."""


def spectrum_for(track: Track, stated_hz: float) -> Spectrum:
    """A spectrum that keeps the lines of a tone apart.

    Parameters
    ----------
    track : Track
        The record.
    stated_hz : float
        Frequency of the tone as stated, Hz.

    Returns
    -------
    Spectrum

    Raises
    ------
    Refusal
        Where the tone is at 0.49 of the sample rate or above, or the record holds fewer than ten
        periods of it.
    """
    if stated_hz >= 0.49 * track.rate_hz:
        raise Refusal(
            f"a sample rate of {in_text(track.rate_hz, 'Hz', 6)} can't hold a tone of "
            f"{in_text(stated_hz, 'Hz', 6)}"
        )
    periods = len(track.volts) / track.rate_hz * stated_hz
    if periods < LEAST_PERIODS:
        raise Refusal(
            f"too few periods: the record holds {in_text(periods)} of "
            f"{in_text(stated_hz, 'Hz', 6)} where at least {LEAST_PERIODS} are needed"
        )
    return spectrum(track, SEVEN_TERMS if periods >= FULL_PERIODS else FOUR_TERMS)


def power_near(track: Track, stated_hz: float) -> float:
    """Mean square within a generator's tolerance of a frequency, V^2; no tone is asked for.

    Parameters
    ----------
    track : Track
        The record.
    stated_hz : float
        The frequency, Hz.

    Returns
    -------
    float
        V^2, noise included.

    Raises
    ------
    Refusal
        As spectrum_for.
    """
    own_spectrum = spectrum_for(track, stated_hz)
    centre = stated_hz / own_spectrum.resolution_hz
    reach = GENERATOR_TOLERANCE * centre + own_spectrum.window.half_width
    first, last = max(int(centre - reach), own_spectrum.window.half_width), int(centre + reach) + 1
    return float(own_spectrum.power[first:last].sum())


_kept: WeakKeyDictionary[Track, dict[tuple[float, float | None], ToneLines]] = WeakKeyDictionary()


def find_tone(track: Track, stated_hz: float, mains_hz: float | None) -> ToneLines:
    """The tone of a driven track, looked for at the first call and kept as long as the track.

    Parameters
    ----------
    track : Track
        The record.
    stated_hz : float
        Frequency as stated, Hz; the tone may be 2 % off.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown.

    Returns
    -------
    ToneLines

    Raises
    ------
    Refusal
        Where the record is unfit or holds something else than the stated tone: another frequency,
        another sample rate, no tone at all, or one that changes within it.
    """
    lines = seek_tone(track, stated_hz, mains_hz)
    if not LEAST_STEADY * lines.whole.value <= lines.middle.value:
        raise Refusal("the tone isn't steady: its frequency or level changes within the record")
    return lines


def seek_tone(track: Track, stated_hz: float, mains_hz: float | None) -> ToneLines:
    """As find_tone, for a tone that may change within the record.

    Parameters
    ----------
    track : Track
        The record.
    stated_hz : float
        Frequency as stated, Hz; the tone may be 2 % off.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown.

    Returns
    -------
    ToneLines

    Raises
    ------
    Refusal
        As find_tone, but for a tone that changes.
    """
    kept = _kept.setdefault(track, {})
    if (stated_hz, mains_hz) not in kept:
        kept[stated_hz, mains_hz] = _fit(track, tone_at(_place(track, stated_hz), mains_hz))
    return kept[stated_hz, mains_hz]


def seek_tone_of_each(tracks: Sequence[Track], stated_hz: float, mains_hz: float | None) -> None:
    """Have ready what seek_tone gives for several tracks, in less time than one by one.

    Parameters
    ----------
    tracks : sequence of Track
        Of one capture. What can't be had of one is told by seek_tone.
    stated_hz : float
        As of seek_tone.
    mains_hz : float or None
        As of seek_tone.
    """
    by_length: dict[tuple[int, float], dict[Track, TonePlace]] = {}
    for track in tracks:
        with contextlib.suppress(Refusal):
            place = _place(track, stated_hz)
            by_length.setdefault((len(track.volts), track.rate_hz), {})[track] = place
    for places in by_length.values():
        found: list[ToneLines] = []
        with contextlib.suppress(Refusal):
            found = tones_at([*places.values()], mains_hz)
        for track, lines in zip(places, found, strict=False):
            with contextlib.suppress(Refusal):
                _kept.setdefault(track, {})[stated_hz, mains_hz] = _fit(track, lines)
        have_lines_ready(found)


def _place(track: Track, stated_hz: float) -> TonePlace:
    """Where the tone lies. Raises Refusal for an unfit record and for one that lacks it."""
    check_record(track)
    own_spectrum = spectrum_for(track, stated_hz)
    stated = stated_hz / own_spectrum.resolution_hz
    reach = max(GENERATOR_TOLERANCE * stated, 2.0)
    first = max(int(stated - reach), 1)
    last = min(int(stated + reach) + 2, len(own_spectrum.bins) - 1)
    peak = first + int(np.argmax(own_spectrum.power[first:last]))
    place = peak_position(own_spectrum, peak)
    # In the few bins of a short record the lobe of a tone that is farther off reaches here.
    skirt = own_spectrum.power[peak] < max(own_spectrum.power[peak - 1 : peak + 2])
    away = abs(place - stated) > GENERATOR_TOLERANCE * stated + PLACED_TO
    if skirt or away or _share(own_spectrum, peak) < LEAST_POWER_FRACTION:
        raise Refusal(_what_else(own_spectrum, stated_hz))
    return TonePlace(own_spectrum, place, sample_step(track))


def _fit(track: Track, lines: ToneLines) -> ToneLines:
    """The lines themselves. Raises Refusal where their record was coded or cut off."""
    refuse_cut_band(lines.spectrum, lines.step_v)
    refuse_flat_tops(track, math.sqrt(lines.all_noise))
    return lines


def find_low_tone(track: Track, stated_hz: float, mains_hz: float | None) -> ToneLines:
    """A tone that may lie below the noise as a whole, though above that beside it.

    Parameters
    ----------
    track : Track
        The record.
    stated_hz : float
        Frequency as stated, Hz; the tone may be 0.2 % off, as clocks differ.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown.

    Returns
    -------
    ToneLines
        At the strongest place there, whether it stands out or not.

    Raises
    ------
    Refusal
        Where the record is unfit, or another tone holds most of it.
    """
    check_record(track)
    own_spectrum = spectrum_for(track, stated_hz)
    power, loudest = own_spectrum.power, _loudest(own_spectrum)
    stated = stated_hz / own_spectrum.resolution_hz
    reach = max(CLOCKS * stated, 2.0)
    first, last = max(int(stated - reach), 1), int(stated + reach) + 2
    if not first <= loudest < last and _share(own_spectrum, loudest) >= LEAST_POWER_FRACTION:
        raise Refusal(_what_else(own_spectrum, stated_hz))
    peak = first + int(np.argmax(power[first:last]))
    place = TonePlace(own_spectrum, peak_position(own_spectrum, peak), sample_step(track))
    return tone_at(place, mains_hz)


def loudest_hz(track: Track, stated_hz: float) -> float | None:
    """Where the one tone of a track lies, by the sample rate that its file states.

    Parameters
    ----------
    track : Track
        The record of a tone.
    stated_hz : float
        Its frequency as stated, Hz; the tone may be anywhere else.

    Returns
    -------
    float or None
        Hz; None where no one tone holds most of the record, or too few periods of it are held.
    """
    try:
        own_spectrum = spectrum_for(track, stated_hz)
    except Refusal:
        return None
    peak = _loudest(own_spectrum)
    if _share(own_spectrum, peak) < LEAST_POWER_FRACTION:
        return None
    return peak_position(own_spectrum, peak) * own_spectrum.resolution_hz


def _loudest(own_spectrum: Spectrum) -> int:
    lobe = own_spectrum.window.half_width
    return lobe + 1 + int(np.argmax(own_spectrum.power[lobe + 1 : -1]))


def _share(own_spectrum: Spectrum, peak: int) -> float:
    """Share of the power without its steady part that lies in the lobe of a peak."""
    lobe = own_spectrum.window.half_width
    top = max(int(BAND_HZ[1] / own_spectrum.resolution_hz), peak + lobe) + 1
    total = float(own_spectrum.power[lobe:top].sum())
    near = float(own_spectrum.power[max(peak - lobe, 0) : peak + lobe + 1].sum())
    return near / total if total > 0 else 0.0


NAMED_WRONGLY = "check what was played and which file this is, and correct the entry"


def _what_else(own_spectrum: Spectrum, stated_hz: float) -> str:
    """What the record holds in place of the stated tone."""
    peak = _loudest(own_spectrum)
    if _share(own_spectrum, peak) < LEAST_POWER_FRACTION:
        return (
            f"not a tone: no line near {in_text(stated_hz, 'Hz', 6)} holds most of the signal; "
            f"{NAMED_WRONGLY}"
        )
    frequency = peak_position(own_spectrum, peak) * own_spectrum.resolution_hz
    message = f"the tone is at {in_text(frequency, 'Hz', 6)}, not at "
    message += f"{in_text(stated_hz, 'Hz', 6)} as stated"
    rate = fitting_rate(own_spectrum.rate_hz, frequency, stated_hz)
    if rate is not None:
        return (
            f"{message}; it would be right if the sample rate were {in_text(rate, 'Hz', 6)}, "
            f"not {in_text(own_spectrum.rate_hz, 'Hz', 6)} as the file says; "
            "correct the file's header"
        )
    return f"{message}; {NAMED_WRONGLY}"


def is_square_wave(lines: ToneLines) -> bool:
    """Whether the harmonics are those of a square wave, not of a tone.

    Odd harmonics of order n reach 0.7 / n of the fundamental up to the seventh and even ones no
    tenth of it. A sine that is cut off above a fifth of its peak stays below that at the seventh.

    Parameters
    ----------
    lines : ToneLines
        The tone as found.

    Returns
    -------
    bool
        False where the seventh harmonic is out of band: nothing is concluded there.
    """
    last = SQUARE_ORDERS[-1]
    if lines.last_order(np.inf) < last:
        return False
    square = lines.harmonics(last).square
    shares = np.sqrt(np.maximum(square, 0.0) / lines.fundamental.value)
    odd = all(shares[order - 2] > SQUARE_SHARE / order for order in SQUARE_ORDERS)
    return odd and all(shares[order - 2] < SQUARE_EVEN for order in (2, 4, 6))
