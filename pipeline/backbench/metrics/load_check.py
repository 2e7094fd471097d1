"""The load that voltage and current across it give, held against the stated one."""

from __future__ import annotations

import math

from backbench.errors import Refusal
from backbench.metrics.declaration import CaptureData
from backbench.metrics.warnings import warning
from backbench.quantities.writing import in_text
from backbench.signal.power import MeanSquare
from backbench.signal.tone_search import find_tone

LOAD_WARNED_DB, LOAD_REFUSED_DB = 1.0, 2.0
"""Of the power that the load makes, as for a stated power: common practice, no source."""
OPEN_OHM = 1000.0
"""An output with less across it isn't open: common practice, no source."""


def refuse_load(capture_data: CaptureData, number: int, hz: float, fundamental: MeanSquare) -> None:
    """Raise Refusal where the current at an output contradicts the stated load.

    fundamental: of the voltage at output track `number`; hz: its frequency as stated.
    """
    try:
        off = _load_off(capture_data, number, hz, fundamental)
    except Refusal:
        return
    if off is not None and abs(off[0]) >= LOAD_REFUSED_DB:
        raise Refusal(off[1])


def load_remark(
    capture_data: CaptureData, number: int, hz: float, fundamental: MeanSquare
) -> str | None:
    """A warning where the load differs from the stated one, or its current shows no tone."""
    if number not in capture_data.currents or capture_data.conditions.load_resistance is None:
        return None
    try:
        off = _load_off(capture_data, number, hz, fundamental)
    except Refusal as refusal:
        why = str(refusal).replace("; ", ", ")
        return warning(f"the load couldn't be checked by its current: {why}")
    if off is None or abs(off[0]) < LOAD_WARNED_DB:
        return None
    return warning(off[1])


def _load_off(
    capture_data: CaptureData, number: int, hz: float, fundamental: MeanSquare
) -> tuple[float, str] | None:
    """How far the load is from the stated one, dB of power, and both in words; None where nothing
    was stated or no track recorded the current. Raises Refusal where that shows no tone."""
    track, stated = capture_data.currents.get(number), capture_data.conditions.load_resistance
    if track is None or capture_data.conditions.load_kind is None:
        return None
    if stated is None:
        return _not_open(capture_data, number, hz, fundamental)
    amperes = find_tone(track, hz, capture_data.mains_hz).fundamental.rms
    ohm = fundamental.rms / amperes
    off = 10 * math.log10(ohm / stated)
    return off, (
        f"{in_text(stated, 'ohm', 6)} is stated, but {in_text(fundamental.rms, 'V', 4)} with "
        f"{in_text(amperes, 'A', 4)} is {in_text(ohm, 'ohm', 4)} ({in_text(off, 'dB', 2)}): check "
        "load, range, calibration and volts_per_ampere"
    )


def _not_open(
    capture_data: CaptureData, number: int, hz: float, fundamental: MeanSquare
) -> tuple[float, str] | None:
    """A load where none is stated; None where no current worth one flows."""
    try:
        current = find_tone(capture_data.currents[number], hz, capture_data.mains_hz).fundamental
    except Refusal:
        return None
    ohm = fundamental.rms / current.rms
    if ohm > OPEN_OHM:
        return None
    return -math.inf, (
        f"an open output is stated, but {in_text(current.rms, 'A', 4)} flows, as through "
        f"{in_text(ohm, 'ohm', 4)}: check load_ohm and volts_per_ampere"
    )
