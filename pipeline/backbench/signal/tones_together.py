"""What is reckoned of the tones of several tracks in one go, and kept with each."""

from __future__ import annotations

from collections.abc import Sequence

from backbench.signal.hidden_hum import hidden_hum
from backbench.signal.tone import ToneLines


def have_hidden_ready(tones: Sequence[ToneLines]) -> None:
    """Have ready what mains lines may hide in each tone and its harmonics.

    Parameters
    ----------
    tones : sequence of ToneLines
        Of tracks of one length and rate.
    """
    found = hidden_hum([one.under_all for one in tones])
    for one, hidden in zip(tones, found, strict=True):
        ToneLines.hidden.keep(one, hidden)
