"""Whether a record holds nothing above an edge: coded with losses, or converted up in rate.

What every converter adds, noise, is then missing above the edge: no more is left than the steps of
the file's samples. A unit's own low-pass leaves the converter's noise.
"""

from __future__ import annotations

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.quantiles import middle
from backbench.signal.spectrum import Spectrum
from backbench.signal.tone import PASS_BAND

LOWEST_HZ = 10_000.0
CELL_HZ = 400.0
FALL = 100.0
"""Ratio of powers from one side of the edge to the other: common practice, no source."""
ACROSS = 3
"""Cells within which it falls: a filter of some tens of samples takes that."""
OF_STEPS = 4.0
"""Times the noise of dithered steps that may be left above the edge."""
SIDE_LOBES = 1e-20
"""Re the strongest bin: what the window itself leaves so far from a line is less (the tests hold
it), and has an edge where one window follows another."""
FEW = 400
"""Bins that tell whether the top of the band is quiet at all."""


def refuse_cut_band(spectrum: Spectrum, step_v: float) -> None:
    """Refuse a record without anything above an edge within its band.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    step_v : float
        Step that its samples use, V; 0 where there is none.

    Raises
    ------
    Refusal
        With the edge, Hz.
    """
    top = PASS_BAND * spectrum.rate_hz
    if top < LOWEST_HZ + 4 * CELL_HZ or not _is_quiet(spectrum, top):
        return
    first = int(LOWEST_HZ / spectrum.resolution_hz)
    size = max(int(CELL_HZ / spectrum.resolution_hz), 1)
    count = int((top / spectrum.resolution_hz - first) // size)
    cells = middle(spectrum.power[first : first + count * size].reshape(count, size).T)
    # Triangular dither and rounding, by bin (closed form): step^2 / 4 over half the rate.
    steps = step_v**2 / 4 / len(spectrum.bins)
    leaks = SIDE_LOBES * float(spectrum.power.max())
    for k in range(count - ACROSS):
        beyond = float(cells[k + ACROSS :].max())
        nothing = beyond <= OF_STEPS * steps if step_v else True
        if nothing and cells[: k + 1].min() > max(FALL * beyond, leaks):
            edge_hz = LOWEST_HZ + (k + 1) * CELL_HZ
            if cells[k + 1] < cells[k] / 2 or cells[k + 2] < cells[k] / 2:
                raise Refusal(_cut(edge_hz, spectrum.rate_hz))


def _is_quiet(spectrum: Spectrum, top_hz: float) -> bool:
    """Whether the highest bins of the band are far below those at 5 kHz."""
    high, low = (int(hz / spectrum.resolution_hz) for hz in (top_hz, LOWEST_HZ / 2))
    some = (spectrum.power[max(high - FEW, 0) : high], spectrum.power[low : low + FEW])
    above, below = (float(middle(power)) for power in some)
    return FALL * above < below


def _cut(edge_hz: float, rate_hz: float) -> str:
    return (
        f"the record holds nothing above about {in_text(edge_hz, 'Hz', 3)}, not even a "
        f"converter's noise, though it is sampled at {in_text(rate_hz, 'Hz', 6)}: it was coded "
        "with losses or converted from a lower rate; give the recording as it was made"
    )
