"""The course in time of a tone that was found, and of several."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from weakref import WeakKeyDictionary

import numpy as np

from backbench.signal.line_course import LineCourse, line_courses
from backbench.signal.power import STANDING
from backbench.signal.spectrum import read_lines
from backbench.signal.tone import BAND_HZ, PASS_BAND, ToneLines
from backbench.signal.tone_set import ToneSet, product_positions
from backbench.signal.track import Array, Track

MOST_FITTED = 4
WORTH_FITTING = 0.02
"""Share of what stands beside a pair from which a product is fitted: weaker ones are steady
parts of what is left, and change it little from block to block."""
MOST_HARMONICS = 8
OF_NOISE = 0.3
"""Share of the noise beside a tone from which a harmonic is fitted: it would hide how noise
scatters."""
PRODUCTS = 7
"""Highest order of the products of a pair that are fitted."""
STRONG = 1e-5
"""Power of a product re the tone nearest to it from which it is fitted however many there are: a
block lets so much of it through that the tone's level seems to change by some 0.005 dB."""
MOST_PRODUCTS = 16
NEAR_TURNS = 1.25
"""Periods of a beat in a block, below which its fit takes most of a line for that beside it."""
LINE = 12.0
"""Times the noise above which a bin is a line's: once in 160 000 by chance."""

_kept: WeakKeyDictionary[ToneLines | ToneSet, LineCourse] = WeakKeyDictionary()
_products: WeakKeyDictionary[ToneSet, tuple[Array, float]] = WeakKeyDictionary()


def tone_course(track: Track, lines: ToneLines) -> LineCourse:
    """A tone from block to block, its strong harmonics taken off; made once for each.

    Parameters
    ----------
    track : Track
        The record.
    lines : ToneLines
        The tone found in it.

    Returns
    -------
    LineCourse
        Of the fundamental alone.

    Raises
    ------
    ValueError
        Where the record is too short for two blocks.
    """
    course = _kept.get(lines)
    if course is None:
        courses_of_each({track: lines})
        course = _kept[lines]
    return course


def courses_of_each(found: Mapping[Track, ToneLines | ToneSet]) -> None:
    """Have ready what tone_course or tones_course gives for several tracks of one rate.

    Parameters
    ----------
    found : mapping of Track to ToneLines or ToneSet
        The tones in each. Those of one length are fitted in less time than one by one.

    Raises
    ------
    ValueError
        As tone_course, for any of them; then none is ready.
    """
    fitted = [(track.volts, _fitted_hz(lines)) for track, lines in found.items()]
    courses = line_courses(fitted, next(iter(found)).rate_hz)
    for lines, course in zip(found.values(), courses, strict=True):
        _kept[lines] = _of_tones(lines, course)


def _fitted_hz(lines: ToneLines | ToneSet) -> Array:
    """Frequencies of tones, and of what is strong beside them, Hz."""
    if isinstance(lines, ToneLines):
        return lines.frequency_hz * np.array([1.0, *_strong_orders(lines)])
    return np.concatenate([lines.frequencies_hz, strong_products(lines)[0]])


def _of_tones(lines: ToneLines | ToneSet, course: LineCourse) -> LineCourse:
    """The course of tones alone, of one with what is strong beside them."""
    count, beside = 1, None
    if isinstance(lines, ToneSet):
        count, beside = len(lines.positions), _near_tones(lines, course.block_s)
    own, turns = course.phasors[:, :count], course.turns[:count]
    return replace(course, phasors=own, turns=turns, beside=beside)


def background_ratio(lines: ToneLines) -> float:
    """What stands beside a tone, 20 Hz to 20 kHz or the record's band, share of its power.

    Parameters
    ----------
    lines : ToneLines
        The tone.

    Returns
    -------
    float
        Ratio of powers.
    """
    top = min(BAND_HZ[1], lines.spectrum.rate_hz * PASS_BAND)
    left = lines.residual if top == BAND_HZ[1] else lines.residual_to(top)
    return left.value / lines.fundamental.value


def tones_course(track: Track, tones: ToneSet) -> LineCourse:
    """Several tones from block to block, a pair's strong products taken off.

    Parameters
    ----------
    track : Track
        The record.
    tones : ToneSet
        The tones found in it.

    Returns
    -------
    LineCourse
        Of the tones alone.

    Raises
    ------
    ValueError
        Where the record is too short for two blocks.
    """
    if tones not in _kept:
        courses_of_each({track: tones})
    return _kept[tones]


def _near_tones(tones: ToneSet, block_s: float) -> Array:
    """Peak amplitude of what stands beside each tone, nearer than a block tells apart, V."""
    spectrum, reach = tones.spectrum, NEAR_TURNS / (block_s * tones.spectrum.resolution_hz)
    first = np.maximum(tones.positions - reach, 0.0).astype(int)
    stop = np.minimum((tones.positions + reach).astype(int) + 2, len(spectrum.power))
    bins = first[:, None] + np.arange(int((stop - first).max()))
    near = bins < stop[:, None]
    np.minimum(bins, len(spectrum.power) - 1, out=bins)
    power = spectrum.power[bins]
    near &= power > LINE * tones.noise[bins]
    near &= tones.beside[bins]
    return np.asarray(np.sqrt(2 * np.einsum("ij,ij->i", power, near)))


def background_ratio_of_tones(tones: ToneSet) -> float:
    """What stands beside several tones and a pair's strong products, share of the tones' power.

    Parameters
    ----------
    tones : ToneSet
        The tones.

    Returns
    -------
    float
        Ratio of powers, 20 Hz to 20 kHz or the record's band.
    """
    spectrum = tones.spectrum
    band = spectrum.slice_of(BAND_HZ[0], min(BAND_HZ[1], spectrum.rate_hz * PASS_BAND))
    rest = float(tones.power_beside(band).sum()) - strong_products(tones)[1]
    return max(rest, float(tones.noise[band].sum())) / tones.together.value


def strong_products(tones: ToneSet) -> tuple[Array, float]:
    """Frequencies of a pair's strongest products, Hz, and their power within 20 Hz to 20 kHz, V^2.

    Parameters
    ----------
    tones : ToneSet
        The tones; three or more have too many products, of which none is strong.

    Returns
    -------
    hz : ndarray of float64, shape (k,)
        Hz; those that can be told apart from the tones and from each other.
    power : float
        V^2.
    """
    if tones not in _products:
        _products[tones] = _strong_products(tones)
    return _products[tones]


def _strong_products(tones: ToneSet) -> tuple[Array, float]:
    if len(tones.positions) != 2:
        return np.array([]), 0.0
    apart, positions = 2 * tones.half, tones.positions.tolist()
    places = product_positions(tones.positions, PRODUCTS)
    places = tones.covered(places)
    # What is steady is fitted, whatever made it: mains lines that may hide there don't matter.
    lines = read_lines(tones.spectrum, places)
    noise = lines.noise_at(places, tones.noise)
    power = lines.square - noise
    least = WORTH_FITTING * float(np.maximum(power, 0.0).mean()) if len(power) else 0.0
    middle = float(np.mean(positions))
    weakest = min(least, STRONG * min(tone.value for tone in tones.tones))
    chosen: list[tuple[float, float]] = []
    strong = np.flatnonzero((power > weakest) & (power > STANDING * noise))
    for k in strong[np.argsort(-power[strong])].tolist():
        place, value = float(places[k]), float(power[k])
        clear = min(abs(place - other) for other in positions) > apart
        wanted = value > least and len(chosen) < MOST_FITTED
        nearest = tones.tones[0 if place < middle else 1]
        wanted |= value > STRONG * nearest.value and len(chosen) < MOST_PRODUCTS
        if clear and wanted:
            chosen.append((place, value))
            positions.append(place)
    df = tones.spectrum.resolution_hz
    inside = sum(value for place, value in chosen if BAND_HZ[0] <= place * df <= BAND_HZ[1])
    return df * np.array(sorted(place for place, _ in chosen)), inside


def _strong_orders(lines: ToneLines) -> list[int]:
    """Orders of the strongest harmonics, rising."""
    # Those above the band too: they would beat with each other in what is left.
    harmonics = lines.every_harmonic
    least = OF_NOISE * lines.between_lines
    strong = np.argsort(-harmonics.square)[:MOST_HARMONICS]
    return sorted(int(harmonics.orders[k]) for k in strong if harmonics.square[k] > least)
