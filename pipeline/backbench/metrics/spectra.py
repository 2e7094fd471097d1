"""Spectra as curves: of a tone, and of the noise with nothing playing."""

from __future__ import annotations

import numpy as np

from backbench.metrics.declaration import CurveData, curve
from backbench.metrics.noise import IdleView
from backbench.metrics.spectrum_table import SpectrumTable, drawn, drawn_relative
from backbench.metrics.tone import ToneView
from backbench.metrics.traits import CurveTraits
from backbench.signal.spectrum_reduction import reduced


@curve(
    "spectrum",
    title="Spectrum (lines at their peak, noise as the level in one resolution bandwidth)",
    x_unit="Hz",
    y_unit="dBV",
    stimuli=["tone", "spectrum table"],
    version=1,
)
def tone_spectrum(tone: ToneView | SpectrumTable) -> CurveData:
    """Rms of each line; between lines, of the noise in the window's noise bandwidth."""
    if isinstance(tone, SpectrumTable):
        return drawn(tone)
    own = tone.lines.spectrum
    x, y = reduced(own, tone.lines.noise)
    return CurveData(x, 10 * np.log10(y * own.window.enbw))


@curve(
    "relative_spectrum",
    title="Spectrum of a table without a reference, re its strongest line",
    x_unit="Hz",
    y_unit="dB",
    stimuli=["spectrum table"],
    version=1,
)
def relative_spectrum(table: SpectrumTable) -> CurveData:
    """Each bin as an instrument gives it, where it states no volts."""
    return drawn_relative(table)


@curve(
    "idle_spectrum",
    title="Noise density (lines at the peak that the resolution gives them)",
    x_unit="Hz",
    y_unit="dBV/√Hz",
    stimuli=["idle"],
    version=1,
    traits=CurveTraits(noise_at_idle=True),
)
def idle_spectrum(idle: IdleView) -> CurveData:
    """Noise power per hertz; a line stands as high as one bin of the record makes it."""
    x, y = reduced(idle.spectrum, idle.noise)
    return CurveData(x, 10 * np.log10(y / idle.spectrum.resolution_hz))
