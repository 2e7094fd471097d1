"""What slow wavering of two tones may have taken from the products that are read beside them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from backbench.signal.line_wavering import lost_of_products
from backbench.signal.power import MeanSquare
from backbench.signal.tone_course import tones_course
from backbench.signal.tone_set import ToneSet
from backbench.signal.track import Track


def with_wavering(
    track: Track, tones: ToneSet, products: Sequence[tuple[int, int]], found: list[MeanSquare]
) -> list[MeanSquare]:
    """Mean squares of products m f1 + n f2, what wavering may have taken in their variance.

    A product is read in the middle of its lobe, the tones by the whole of theirs.
    """
    try:
        course = tones_course(track, tones)
    except ValueError:
        return found
    spectrum = tones.spectrum
    noise = tones.noise[np.rint(tones.positions).astype(int)] / spectrum.resolution_hz
    times = np.array(products, dtype=float)
    lost = lost_of_products(course, spectrum.window, times, tones.positions, noise)
    return [
        one._replace(slope=one.slope + share**2 * max(one.value, 0.0))
        for one, share in zip(found, lost.tolist(), strict=True)
    ]
