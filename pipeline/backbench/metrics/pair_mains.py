"""Mains lines and sidebands under the products of two tones."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from backbench.quantities.writing import in_text
from backbench.signal.tone_set import ToneSet


def mains_under_products(tone_set: ToneSet, places: Mapping[str, float]) -> str | None:
    """Which products mains lines or sidebands may hide in; None where in none of these.

    places: bins by name; those beyond the band are passed over.
    """
    reached = {name: place for name, place in places.items() if tone_set.covers(place)}
    hidden = tone_set.hum(np.array(list(reached.values())))
    hit = [
        name
        for name, square, blind in zip(reached, hidden.square, hidden.blind, strict=True)
        if blind or square > 0
    ]
    if not hit:
        return None
    return (
        f"lines or sidebands of the {in_text(tone_set.mains_hz or 0.0, 'Hz', 6)} mains may lie "
        f"under {', '.join(hit)}; "
        "play a pair whose products are clear of them, in a longer record"
    )
