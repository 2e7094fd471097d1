"""Mains lines and sidebands under the products of two tones."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.mains import mains_mismatch_text, other_mains
from backbench.signal.tone_set import ToneSet


def refuse_other_mains(found: ToneSet) -> None:
    """Raise Refusal where the record shows another mains frequency than the stated one.

    Lines on harmonics and products of the tones tell nothing.
    """
    if found.mains_hz is None:
        return
    other = other_mains(found.spectrum, found.noise, found.mains_hz, found.apart_from_products)
    if other is not None:
        raise Refusal(mains_mismatch_text(found.mains_hz, other))


def mains_under_products(found: ToneSet, places: Mapping[str, float]) -> str | None:
    """Which products mains lines or sidebands may hide in; None where in none of these.

    places: bins by name; those beyond the band are passed over.
    """
    reached = {name: place for name, place in places.items() if found.covers(place)}
    hidden = found.hum(np.array(list(reached.values())))
    hit = [
        name
        for name, square, blind in zip(reached, hidden.square, hidden.blind, strict=True)
        if blind or square > 0
    ]
    if not hit:
        return None
    return (
        f"lines or sidebands of the {in_text(found.mains_hz or 0.0, 'Hz', 6)} mains may lie under "
        f"{', '.join(hit)}; "
        "play a pair whose products are clear of them, in a longer record"
    )
