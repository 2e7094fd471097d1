"""Whether a record holds nothing above an edge: coded with losses, or converted up in rate.

What every converter adds, noise, is then missing above the edge: no more is left than the steps of
the file's samples. A unit's own low-pass leaves the converter's noise. Where the steps are all the
noise that there is from one end of the band to the other, no edge shows, and nothing shows that
there is none.
"""

from __future__ import annotations

import math
from typing import NamedTuple, Protocol

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.dither import TRIANGULAR
from backbench.signal.kept_property import kept_with_it
from backbench.signal.quantiles import middle
from backbench.signal.spectrum import Spectrum
from backbench.signal.tone import PASS_BAND
from backbench.signal.track import Array

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
SURE_HZ = 15_000.0
"""Up to which coders and lower rates in use pass lines: common practice, no source."""
STEPS_ALONE = 1.3
"""Times the noise of dithered steps from which something else is seen beside it: a quarter of the
record's noise, which a median of some hundred bins shows."""
END = 3
"""Cells in a row that tell where steps alone are left, or that they are at the end of the band."""
NEAR = 0.7
"""Share of the frequency of an edge from which on noise is near below it."""


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
    cells = _cells(spectrum, LOWEST_HZ, top)
    steps = _of_steps(spectrum, step_v)
    leaks = SIDE_LOBES * float(spectrum.power.max())
    for k in range(len(cells) - ACROSS):
        beyond = float(cells[k + ACROSS :].max())
        nothing = beyond <= OF_STEPS * steps if step_v else True
        if nothing and cells[: k + 1].min() > max(FALL * beyond, leaks):
            edge_hz = LOWEST_HZ + (k + 1) * CELL_HZ
            if cells[k + 1] < cells[k] / 2 or cells[k + 2] < cells[k] / 2:
                raise Refusal(_cut(edge_hz, spectrum.rate_hz))


class SteppedRecord(Protocol):
    """A record's spectrum, its mean noise power by bin from bin 0 on, V^2, the step that its
    samples use, V; 0 where there is none, and whether noise blurs these."""

    @property
    def spectrum(self) -> Spectrum: ...
    @property
    def noise(self) -> Array: ...
    @property
    def step_v(self) -> float: ...
    @property
    def is_dithered(self) -> bool: ...


class Shown(NamedTuple):
    """How far a record shows that its band goes.

    Parameters
    ----------
    hz : float
        At least SURE_HZ; infinite where that is its end.
    below : float
        Mean noise power by bin below that, without the steps', V^2.
    """

    hz: float
    below: float


WHOLE = Shown(math.inf, 0.0)


@kept_with_it
def shown(record: SteppedRecord) -> Shown:
    """Up to where something other than the steps of its samples reaches in a record.

    Parameters
    ----------
    record : SteppedRecord
        Its noise known to the end of its band.

    Returns
    -------
    Shown
        Kept with the record.
    """
    spectrum, noise, width = record.spectrum, record.noise, record.spectrum.resolution_hz
    top = min(PASS_BAND * spectrum.rate_hz, len(noise) * width)
    if not record.step_v or top <= SURE_HZ:
        return WHOLE
    steps = _of_steps(spectrum, record.step_v)
    # The background has third octaves: what isn't far above the steps is looked at more closely.
    if noise[int(top / width) - 1] > FALL * steps:
        return WHOLE
    low = _cells(spectrum, SURE_HZ, top) / math.log(2) <= STEPS_ALONE * steps
    if 2 * low[-END:].sum() < END:
        return WHOLE
    hz = SURE_HZ + CELL_HZ * _first_of_run(low.tolist())
    before = _cells(spectrum, NEAR * hz, hz - CELL_HZ) / math.log(2)
    return Shown(hz, max(float(before.mean()) - steps, 0.0))


def _first_of_run(low: list[bool]) -> int:
    """Where so many as END follow each other for the first time; the end where they don't."""
    starts = range(len(low) - END + 1)
    return next((k for k in starts if all(low[k : k + END])), len(low))


def _cells(spectrum: Spectrum, first_hz: float, top_hz: float) -> Array:
    """Medians of the powers of cells of CELL_HZ, V^2."""
    first = int(first_hz / spectrum.resolution_hz)
    size = max(int(CELL_HZ / spectrum.resolution_hz), 1)
    count = int((top_hz / spectrum.resolution_hz - first) // size)
    cells: Array = middle(spectrum.power[first : first + count * size].reshape(count, size).T)
    return cells


def _of_steps(spectrum: Spectrum, step_v: float) -> float:
    """Power by bin of triangular dither and rounding, V^2: step^2 / 4 over half the rate."""
    return step_v**2 * TRIANGULAR / len(spectrum.bins)


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
