"""Sample rates that recorders use, and which of them fits a frequency better than the stated."""

from __future__ import annotations

RATES_HZ = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
"""AES5 (from memory)."""
USUAL = 0.01
"""Relative distance within which a stated rate is taken for one of them."""
CLOCKS = 0.002
"""Relative distance of a generator's frequency from the one that was set."""


def other_rates(stated_hz: float) -> list[int]:
    """The usual sample rates that a stated one is not.

    Parameters
    ----------
    stated_hz : float
        As the file says, Hz.

    Returns
    -------
    list of int
        Hz.
    """
    return [rate for rate in RATES_HZ if abs(stated_hz / rate - 1) > USUAL]


def fitting_rate(stated_hz: float, found_hz: float, tone_hz: float) -> int | None:
    """The usual sample rate under which a tone that was found would be the one that was played.

    Parameters
    ----------
    stated_hz : float
        Sample rate as the file says, Hz.
    found_hz : float
        Frequency of the tone by that rate, Hz, > 0.
    tone_hz : float
        Its frequency as stated, Hz.

    Returns
    -------
    int or None
        Hz; None where it is no usual rate, or the stated one.
    """
    real = stated_hz * tone_hz / found_hz
    fits = (rate for rate in other_rates(stated_hz) if abs(real / rate - 1) < CLOCKS)
    return next(fits, None)
