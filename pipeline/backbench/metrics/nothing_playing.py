"""Whether nothing plays in a capture that is stated as idle."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.metrics.warnings import warning
from backbench.quantities.writing import in_text
from backbench.signal.band_end import power_up_to
from backbench.signal.mains import NOMINAL_HZ, parted_by_mains
from backbench.signal.mains_places import LINES, OFF_NOMINAL
from backbench.signal.spectrum import Spectrum, peak_position
from backbench.signal.tone import BAND_HZ
from backbench.signal.track import Array

PLAYED_V = 0.05
"""Weaker sounds may be the unit's own; common practice, no source."""
LOUD_V = 0.5
"""Noise beside the hum that no unit makes which is fit to be measured: 30 mW into 8 ohm. Common
practice, no source."""
PLAYED_SHARE = 0.9
LINE_STANDS_OUT = 1000.0
"""Times the noise beside it from which a bin belongs to a line that was played."""
LEAST_PITCH_HZ = 80.0
BESIDE_BINS = 2.5
"""Bins about a mains line that its lobe takes in a block under a Hann window."""
NEIGHBOURS = 21
PITCH_STANDS_OUT = 30.0
"""Times the median of its neighbours from which a bin of a block is a pitch's: noise alone, of
which a bin is chi-squared of two degrees of freedom, gets there once in 2^30."""
COMES_AND_GOES = 4.0
"""Times its median over the blocks from which a bin isn't steady."""
PITCHED_SHARE = 0.3
LEAST_GLIDING = 5
"""Blocks in which it must be heard."""
GLIDING = 0.95
"""Correlation with time of the middle of the power, from which it glides."""
CHECK = "check that the generator was off and that this is the idle file"


class BesideHum(NamedTuple):
    """Mean squares in the band without the lines of both mains frequencies, V^2."""

    whole: float
    lines: float


def _beside_hum(own: Spectrum, noise: Array) -> BesideHum:
    """What there is beside the hum, and how much of it stands in lines.

    noise: mean noise power by bin, V^2.
    """
    chosen = own.slice_of(*BAND_HZ)
    clear, near = parted_by_mains(own, chosen)
    power, beneath = power_up_to(own, noise, chosen, BAND_HZ[1]), noise[chosen]
    beside = power[clear]
    standing = beside > LINE_STANDS_OUT * beneath[clear]
    whole = float(beside.sum() + beneath[near].sum())
    return BesideHum(whole, float(beside[standing].sum()))


def _volts(beside: BesideHum) -> str:
    return in_text(math.sqrt(beside.whole), "V", 3)


def refuse_played(own: Spectrum, noise: Array) -> BesideHum:
    """What there is beside the hum. Raises Refusal where it can only have been played."""
    _refuse_one_tone(own)
    beside = _beside_hum(own, noise)
    if beside.lines >= max(PLAYED_V**2, PLAYED_SHARE * beside.whole):
        raise Refusal(
            f"not idle: tones that aren't the mains' make up nearly all of {_volts(beside)}; "
            f"{CHECK}, and record again"
        )
    if beside.whole >= LOUD_V**2:
        raise Refusal(
            f"not idle: {_volts(beside)} beside the hum is as loud as music or a generator's "
            f"noise; {CHECK}, and record again"
        )
    return beside


def loud_remark(beside: BesideHum) -> str | None:
    """A warning of a record in which something may have played."""
    if beside.whole < PLAYED_V**2:
        if beside.lines < PLAYED_SHARE * beside.whole:
            return None
        return warning(
            f"lines that aren't the mains' make up nearly all of {_volts(beside)} beside the hum: "
            f"{CHECK} (of a unit that oscillates or whistles it is true)"
        )
    return warning(
        f"{_volts(beside)} beside the hum is much for idle noise: {CHECK} (of a unit so noisy it "
        "is true)"
    )


def pitched_remark(
    power: NDArray[np.float32], resolution_hz: float, mains_hz: float | None
) -> str | None:
    """A warning of noise that comes and goes and has pitches, as music and speech do.

    power: by block of time and bin, in any unit. Clicks, popcorn noise and bursts of noise have
    none; hum and whistles are alike in all blocks.
    """
    from scipy.ndimage import median_filter

    hz = np.arange(power.shape[1]) * resolution_hz
    clear = (hz >= LEAST_PITCH_HZ) & (hz <= BAND_HZ[1])
    for multiple in range(1, LINES + 1):
        clear &= np.abs(hz - multiple * (mains_hz or 0.0)) > BESIDE_BINS * resolution_hz
    around = median_filter(power, size=(1, NEIGHBOURS))
    usual = np.median(power, axis=0)
    pitched = clear & (power > PITCH_STANDS_OUT * around) & (power > COMES_AND_GOES * usual)
    if float(power[pitched].sum()) >= PITCHED_SHARE * float(power[:, clear].sum()):
        return warning(
            f"much of the noise has pitches that come and go, as music or speech do: {CHECK}"
        )
    if _glides(power[:, clear], np.log(hz[clear])):
        return warning(f"the noise rises or falls through the band as a sweep does: {CHECK}")
    return None


def _glides(power: NDArray[np.float32], log_hz: Array) -> bool:
    """Whether the middle of the power by block moves evenly through a decade or more."""
    whole = power.sum(axis=1)
    loud = np.flatnonzero(whole > COMES_AND_GOES * whole.min())
    if len(loud) < LEAST_GLIDING:
        return False
    middles = power[loud] @ log_hz / whole[loud]
    far = np.ptp(middles) > math.log(10)
    return bool(far and abs(np.corrcoef(loud, middles)[0, 1]) > GLIDING)


def _refuse_one_tone(own: Spectrum) -> None:
    """Raises Refusal where one strong line that isn't the mains' is nearly all there is."""
    chosen = own.slice_of(*BAND_HZ)
    peak = chosen.start + int(np.argmax(own.power[chosen]))
    lobe = own.window.half_width
    line = float(own.power[max(peak - lobe, 0) : peak + lobe + 1].sum())
    if line < PLAYED_V**2 or line < PLAYED_SHARE * float(own.power[chosen].sum()):
        return
    hz = peak_position(own, peak) * own.resolution_hz
    multiples = [n * mains for mains in NOMINAL_HZ for n in range(1, LINES + 1)]
    if any(abs(hz / multiple - 1) < OFF_NOMINAL for multiple in multiples):
        return
    raise Refusal(
        f"not idle: a tone of {in_text(hz, 'Hz', 5)} with {in_text(line**0.5, 'V', 3)} is nearly "
        f"all there is; {CHECK} (a unit that makes it by itself oscillates), and record again"
    )
