"""What is reckoned of the tones of several tracks in one go, and kept with each."""

from __future__ import annotations

from collections.abc import Sequence

from backbench.signal.hidden_hum import hidden_hum
from backbench.signal.spectrum import read_lines_of_each
from backbench.signal.tone import ToneLines


def have_lines_ready(tones: Sequence[ToneLines]) -> None:
    """Have ready what is read of each tone and its harmonics, and what may hide in them.

    Parameters
    ----------
    tones : sequence of ToneLines
        Of tracks of one length and rate.
    """
    if not tones:
        return
    places = [one.under_all.places for one in tones]
    read = read_lines_of_each([one.spectrum for one in tones], places)
    for one, own, lines in zip(tones, places, read, strict=True):
        ToneLines.at_middles.keep(one, (lines, lines.noise_at(own, one.noise)))
    found = hidden_hum([one.under_all for one in tones])
    for one, hidden in zip(tones, found, strict=True):
        ToneLines.hidden.keep(one, hidden)
