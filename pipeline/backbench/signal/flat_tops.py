"""Whether a record is cut off at a level below its full scale, behind what makes its noise.

A unit that clips still puts its noise, and the bench's, on the flat part. Where the extreme values
of a record are alike to its steps, something after that noise cut them off: the recorder's input
stage, or an editor.
"""

from __future__ import annotations

import numpy as np

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.track import Array, Track
from backbench.signal.word_length import sample_step

ALIKE_STEPS = 2.5
"""Steps within which samples of one voltage lie, dither included."""
FINE = 1e-6
"""The same of samples without steps, re the greatest. Single precision is a tenth of it; noise that
is not far above is what harmonics leave that sampling mirrors, not a converter's."""
NOISE_OVER = 4.0
"""Times that width the noise must have, so that it tells."""
MOST_ALIKE = 16
"""Extreme values that noise leaves so near to each other: of independent ones of normal noise
about 3 lie within a quarter of its rms of the greatest (extreme value theory, closed form)."""

OFTENER = 4.0
"""Times as often as any other voltage the extreme one must recur: without noise a tone whose period
is a whole number of samples repeats all of its values."""
CRESTS = 4.0
"""Times as often as the voltages just below them the extreme ones must recur to be flat: of a sine
2.4 times as many lie within a width of the crest as within the next (closed form)."""
BELOW_TOP = (0.3, 0.95)
"""Share of the extreme voltage between which others are looked at."""
NEAR_TOP = 0.75
"""The lower of these where samples enough lie above it: many tones together are seldom so high, and
most of the time low."""


def refuse_flat_tops(track: Track, noise_v: float) -> None:
    """Refuse a record of tones whose tops are cut off without noise on them.

    Parameters
    ----------
    track : Track
        The record.
    noise_v : float
        Rms of its noise over its whole band, V.

    Raises
    ------
    Refusal
        With the level at which it is cut off.
    """
    low, high = track.lowest_and_highest
    alike = max(ALIKE_STEPS * sample_step(track), FINE * max(high, -low))
    if noise_v < NOISE_OVER * alike:
        return
    for reached, end in ((track.volts >= high - alike, high), (track.volts <= low + alike, low)):
        count = int(np.count_nonzero(reached))
        if count > MOST_ALIKE and count > OFTENER * _elsewhere(track.volts, end, alike):
            raise Refusal(
                f"the record is cut off at {in_text(end, 'V', 4)}, below its full scale and behind "
                "its noise: an input stage of the recorder clipped, or the file was turned down "
                "after it had clipped; record again at a lower gain"
            )


def has_flat_crests(track: Track) -> bool:
    """Whether the crests of a record are flat to the steps of its samples.

    Where noise reaches beyond the steps, a unit that clips leaves no such crests. Where it doesn't,
    nothing tells a unit that clips from a recorder whose input does.

    Parameters
    ----------
    track : Track
        The record of tones.

    Returns
    -------
    bool
        False for samples without steps.
    """
    step = sample_step(track)
    if step <= 0:
        return False
    low, high = track.lowest_and_highest
    alike = ALIKE_STEPS * step
    upper = track.beyond(high - 2 * alike, above=True)
    if _is_flat(track, upper, high, alike):
        return True
    return _is_flat(track, track.beyond(low + 2 * alike, above=False), low, alike)


def _is_flat(track: Track, near: Array, end: float, alike: float) -> bool:
    """Whether the voltage at an end recurs as no crest of a sine does.

    near: samples within twice `alike` of it.
    """
    if len(near) <= MOST_ALIKE:
        return False
    away = np.abs(near - end)
    count = int(np.count_nonzero(away <= alike))
    if count <= MOST_ALIKE or count <= CRESTS * (len(away) - count):
        return False
    return count > OFTENER * _elsewhere(track.volts, end, alike)


def _elsewhere(volts: Array, end: float, alike: float) -> int:
    """How often the most frequent voltage well below an extreme one recurs, within a width."""
    share = volts / end
    some = volts[(share > BELOW_TOP[0]) & (share < BELOW_TOP[1])]
    high = some[some / end > NEAR_TOP]
    if len(high) > MOST_ALIKE:
        some = high
    if not len(some):
        return 0
    _, counts = np.unique(np.rint(some / alike), return_counts=True)
    return int(counts.max())
