"""Harmonics on lines of the other mains frequency, where no line tells which of them it was.

Of a tone on a multiple of that mains all lie there, of a low tone some. Such lines can't be told
from them, and these may lie clear of the stated frequency's: a statement that is wrong would go
unseen.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from backbench.metrics.declaration import MeasuredValue
from backbench.metrics.tone import ToneView
from backbench.metrics.warnings import joined
from backbench.quantities.writing import in_text
from backbench.signal.harmonics import Harmonics
from backbench.signal.hidden_hum import MOST_MULTIPLE
from backbench.signal.kept_property import kept_with_it
from backbench.signal.mains_neighbours import NEIGHBOUR_MULTIPLES, OFF_NOMINAL
from backbench.signal.tone import BAND_HZ, ToneLines

MATTERS = 0.1
"""Share of a sum's or a noise's power from which a harmonic that may be a line is told."""
TOLD = 1e-3
"""Share of a noise's power below which a line makes no difference to it."""
FIRST_ORDER = 2
LIKE_HUM = 1e-3
"""Rms re a tone that mains lines beside it seldom have: common practice, no source."""
HOLDS = 10.0
"""Times as much as hum, in amplitude, up to which a line makes a difference to a harmonic."""
EVENLY_BESIDE = [k for k in NEIGHBOUR_MULTIPLES.tolist() if k % 2 == 0]


@kept_with_it
def doubtful_mains(tone: ToneView) -> str | None:
    """That lines of the other usual mains frequency may be among the harmonics; None where not."""
    stated = tone.capture_data.mains_hz
    on = [hz for hz in tone.lines.unconfirmed if _lies_on(tone, hz)]
    if not stated or not on:
        return None
    return (
        f"no line tells that the mains frequency was {in_text(stated, 'Hz', 6)}: were it "
        f"{in_text(on[0], 'Hz', 6)}, its lines would lie under {in_text(tone.stated_hz, 'Hz', 6)} "
        "and its harmonics (play another frequency to tell them apart)"
    )


def doubtful_harmonics(tone: ToneView, harmonics: Harmonics, only: int | None = None) -> str | None:
    """That a line of the other usual mains frequency may be what a harmonic is read as.

    Parameters
    ----------
    tone : ToneView
        The view.
    harmonics : Harmonics
        Those that are summed.
    only : int or None, optional
        The one of them that is looked at; all where not given.

    Returns
    -------
    str or None
        Of the first that makes a good part of the sum and isn't much stronger than hum is. None
        where such are clear of the lines, or lines beside them would tell of these.
    """
    if only is not None:
        return _of_another(tone, lambda: _like_hum(tone, harmonics, only))
    kept, last = _doubts_by_number(tone), len(harmonics.orders)
    if last not in kept:
        kept[last] = _of_another(tone, lambda: _like_hum(tone, harmonics, None))
    return kept[last]


@kept_with_it
def _doubts_by_number(tone: ToneView) -> dict[int, str | None]:
    """What is told of the first so many harmonics, which several sums rest on."""
    return {}


def with_doubtful_noise(tone: ToneView, figure: MeasuredValue, noise: float) -> MeasuredValue:
    """A ratio to noise in dB, with the harmonics taken out of it that may be lines of the other
    usual mains frequency, which are noise, in its uncertainty; where they may be a good part of it
    with a remark.

    noise: mean square of all that the figure counts, V^2.
    """
    if not tone.lines.unconfirmed:
        return figure
    hidden = _taken_out(tone, noise)
    lost = sum(tone.lines.every_harmonic.squares[n] for n in hidden)
    if lost <= 0:
        return figure
    least = 10 * math.log10(1 + lost / noise) / math.sqrt(3)
    u, own = (math.hypot(each, least) for each in (figure.uncertainty, figure.estimation))
    wider = figure.but(uncertainty=u, estimation=own)
    if lost <= MATTERS * noise:
        return wider
    return wider.but(remark=joined(figure.remark, _of_another(tone, lambda: hidden)))


def _of_another(tone: ToneView, orders: Callable[[], list[int]]) -> str | None:
    """That the first of some harmonics that may be a line of another mains frequency may be one."""
    stated, others = tone.capture_data.mains_hz, tone.lines.unconfirmed
    if not others or not stated:
        return None
    on = next(((n, hz) for n in orders() for hz in others if _hides(tone, n, hz)), None)
    if on is None:
        return None
    return (
        f"no line tells that the mains frequency was {in_text(stated, 'Hz', 6)}: were it "
        f"{in_text(on[1], 'Hz', 6)}, harmonic {on[0]} may be one of its lines or hold one (play "
        "another frequency to tell them apart)"
    )


def _like_hum(tone: ToneView, harmonics: Harmonics, only: int | None) -> list[int]:
    """Orders of those that make a good part of the sum and aren't much stronger than hum is."""
    most = (HOLDS * LIKE_HUM) ** 2 * tone.lines.fundamental.value
    if only is not None:
        return [only] if 0 < harmonics.one(only).value <= most else []
    least = MATTERS * sum([square for square in harmonics.squares.values() if square > 0])
    return [n for n, square in harmonics.squares.items() if least < square <= most]


def _taken_out(tone: ToneView, noise: float) -> list[int]:
    """Orders that were taken out of the noise, may be lines, and are no stronger than hum is."""
    last = tone.lines.last_order(BAND_HZ[1])
    if last < FIRST_ORDER:
        return []
    harmonics = tone.lines.harmonics(last)
    most = LIKE_HUM**2 * tone.lines.fundamental.value
    gone = [FIRST_ORDER + k for k in harmonics.taken_out]
    some = [n for n in gone if TOLD * noise < harmonics.squares[n] <= most]
    return [n for n in some if any(_hides(tone, n, hz) for hz in tone.lines.unconfirmed)]


def _hides(tone: ToneView, order: int, mains_hz: float) -> bool:
    """Whether a line may lie under a harmonic with none an even number of multiples away clear."""
    lines, hz = tone.lines, order * tone.lines.frequency_hz
    multiple, width = max(round(hz / mains_hz), 1), lines.spectrum.resolution_hz
    if abs(hz - multiple * mains_hz) > lines.half * width + OFF_NOMINAL * hz:
        return False
    # So few that plain numbers are quicker than arrays.
    places = [mains_hz / width * n for n in (multiple + k for k in EVENLY_BESIDE) if n >= 1]
    return not any(_is_clear(lines, place) for place in places)


def _is_clear(lines: ToneLines, place: float) -> bool:
    """Whether a mains line at a place, bins, can't be taken for a harmonic."""
    away = abs(place - round(place / lines.position) * lines.position)
    return away > 2 * lines.half + OFF_NOMINAL * place


def _lies_on(tone: ToneView, mains_hz: float) -> bool:
    """Whether all harmonics of the tone lie on the lines of a mains frequency."""
    hz, lines = tone.lines.frequency_hz, tone.lines
    multiple = round(hz / mains_hz)
    reach = lines.spectrum.resolution_hz + OFF_NOMINAL * hz
    return 1 <= multiple <= MOST_MULTIPLE and abs(hz - multiple * mains_hz) <= reach
