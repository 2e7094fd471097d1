"""Tone controls and loudness: a shelf in the bass and one in the treble."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
BASS_HZ, TREBLE_HZ = 250.0, 3500.0


@dataclass(frozen=True)
class Shelves:
    """Gain of each shelf far from its corner, dB; flat where 0."""

    bass_db: float = 0.0
    treble_db: float = 0.0

    def gain_at(self, hz: Array) -> Complex:
        """Ratio at frequencies of 0 Hz and more."""
        bass, treble = (10 ** (db / 20) for db in (self.bass_db, self.treble_db))
        low, high = 1j * hz / BASS_HZ, 1j * hz / TREBLE_HZ
        return np.asarray((bass + low) / (1 + low) * (1 + treble * high) / (1 + high))


FLAT = Shelves()
SETTINGS = {
    "flat": FLAT,
    "bass full": Shelves(bass_db=11.0),
    "bass least": Shelves(bass_db=-12.0),
    "treble full": Shelves(treble_db=10.0),
    "treble least": Shelves(treble_db=-11.0),
}
"""By what the manifest calls the setting."""
LOUDNESS = "loudness on"
RAISED = {
    "half": Shelves(bass_db=5.0, treble_db=2.0),
    "quarter": Shelves(bass_db=9.0, treble_db=4.0),
}
"""What the loudness switch raises, by the setting of the volume control: more where it is lower
(no source)."""


def set_shelves(controls: str | None, volume: str | None) -> Shelves:
    """Of the tone controls, or of the loudness switch at a setting of the volume control."""
    if controls == LOUDNESS:
        return RAISED[volume or "half"]
    return SETTINGS[controls or "flat"]
