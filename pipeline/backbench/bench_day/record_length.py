"""How long a capture has to be, so that mains lines stand clear of what is measured."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

from backbench.documents.stimuli import Idle, Multitone, SquareAndSine, Stimulus, Tone, TwoTones
from backbench.signal.hidden_hum import SIDEBANDS
from backbench.signal.mains import NOMINAL_HZ
from backbench.signal.mains_neighbours import OFF_NOMINAL
from backbench.signal.tone_set import MARGIN_BINS
from backbench.signal.window import SEVEN_TERMS

ORDERS = range(2, 11)
PRODUCTS = ((-1, 1), (1, 1), (-2, 1), (2, 1), (2, -1), (-1, 2))
"""Of two tones: the ones that their metrics tell of, as multiples of each tone."""
PERIODS = 40
LONGEST_S = 10.0
"""A line that only a longer record would clear is left where it is."""
IDLE_S = 10.0
"""Bursts, crackle and slow hum show in this time; common practice, no source."""


def record_s(stimulus: Stimulus) -> float | None:
    """Seconds to record of a stimulus, whole ones; None where its own length says it."""
    match stimulus:
        case Idle():
            return IDLE_S
        case Tone():
            return _whole(stimulus.tone_hz, _room(_harmonics(stimulus.tone_hz), [stimulus.tone_hz]))
        case TwoTones():
            low, high = stimulus.tones_hz
            products = [abs(m * low + n * high) for m, n in PRODUCTS]
            return _whole(low, _room(products, stimulus.tones_hz))
        case SquareAndSine():
            square, sine = stimulus.square_and_sine_hz
            products = [abs(k * square - sine) for k in range(1, 10)]
            return _whole(square, _room(products, [square, sine]))
        case Multitone():
            return _whole(min(stimulus.multitone_hz), _gaps(sorted(stimulus.multitone_hz)))
    return None


def _whole(lowest_hz: float, rooms_hz: Iterator[float]) -> float:
    """Seconds that resolve every room (Hz to the nearest line) that a usual record can."""
    half = len(SEVEN_TERMS) + MARGIN_BINS
    needed = [half / room for room in rooms_hz if room > half / LONGEST_S]
    return float(math.ceil(max([1.0, min(PERIODS / lowest_hz, LONGEST_S), *needed])))


def _harmonics(hz: float) -> list[float]:
    return [order * hz for order in ORDERS]


def _room(lines_hz: Sequence[float], tones_hz: Sequence[float]) -> Iterator[float]:
    """Distance of lines to mains lines and sidebands, less what the mains may be off, Hz."""
    for mains in NOMINAL_HZ:
        for line in lines_hz:
            multiple = max(round(line / mains), 1) * mains
            yield abs(line - multiple) - OFF_NOMINAL * line
            for tone in tones_hz:
                yield from (
                    abs(abs(line - tone) - n * mains) - OFF_NOMINAL * n * mains for n in SIDEBANDS
                )


def _gaps(tones_hz: Sequence[float]) -> Iterator[float]:
    """Half the distance of neighbouring tones: a lobe of each has to fit between them."""
    yield from ((b - a) / 2 for a, b in itertools.pairwise(tones_hz))
