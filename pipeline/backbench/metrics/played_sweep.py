"""Response of a tape machine or a cartridge, and the resonance of arm and cartridge."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.documents.stimuli import SweepOnMedium
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declaration import CaptureData, CurveData, MeasuredValue, curve, metric, view
from backbench.metrics.traits import OF_A_PLAYED_SWEEP, Traits
from backbench.quantities.writing import in_text
from backbench.signal.kept_property import kept_property
from backbench.signal.played_sweep import SweptLevel, level_along_sweep
from backbench.signal.record_checks import check_record
from backbench.signal.track import Array, Track
from backbench.signal.uncertainty import DB_PER_RELATIVE

FAMILY = "Tape and disc playback"

REFERENCE_HZ = 1000.0
FALL_DB = 3.0
RESONANCE_HZ = (6.0, 20.0)
"""A sweep has to reach at least from and to here for a resonance of arm and cartridge (common
practice, no source)."""
_CHOICE = (
    "level along the sweep's own frequency, so that the speed doesn't matter; the recording's own "
    "response is part of it"
)


@dataclass(frozen=True, eq=False)
class PlayedSweepView:
    """The level of one track along a sweep. driven: that of the driven track, on another one."""

    stated: SweepOnMedium
    track: Track
    level: SweptLevel

    @kept_property
    def db(self) -> Array:
        """Level re that at 1 kHz, dB. Raises NotApplicable where the sweep doesn't reach it."""
        hz = self.level.hz
        if not hz[0] <= REFERENCE_HZ <= hz[-1]:
            raise NotApplicable("the sweep doesn't cover 1 kHz")
        db = 20 * np.log10(self.level.volts)
        return np.asarray(db - np.interp(math.log(REFERENCE_HZ), np.log(hz), db))

    @property
    def u_db(self) -> Array:
        """Standard uncertainty of the level, dB."""
        return np.asarray(DB_PER_RELATIVE * self.level.u / self.level.volts)


@view("played sweep", version=1)
def played_sweep(capture_data: CaptureData, number: int) -> PlayedSweepView:
    """The sweep of output track `number`. Raises Refusal where none is found."""
    stimulus, track = capture_data.stimulus, capture_data.outputs[number]
    assert isinstance(stimulus, SweepOnMedium)
    check_record(track)
    if capture_data.driven_track not in (None, number):
        raise Refusal("only the driven output of a played sweep is measured")
    low, high = stimulus.played_sweep_hz
    return PlayedSweepView(
        stimulus, track, level_along_sweep(track.volts, track.rate_hz, low, high)
    )


_LIMIT = (
    "where the level last is within 3 dB of that at 1 kHz; a bound where the sweep ends before; "
)


@metric(
    "played_low_limit",
    title="Lower end of the played response",
    unit="Hz",
    better="neither",
    source="common practice, no source",
    stimuli=["played sweep"],
    version=1,
    choice=_LIMIT + _CHOICE,
    traits=Traits(compared_at=OF_A_PLAYED_SWEEP, position=221, only_with="transport"),
)
def played_low_limit(seen: PlayedSweepView) -> MeasuredValue:
    """Frequency below 1 kHz at which the played response has fallen by 3 dB."""
    return _end(seen, "lower")


@metric(
    "played_high_limit",
    title="Upper end of the played response",
    unit="Hz",
    better="neither",
    source="common practice, no source",
    stimuli=["played sweep"],
    version=1,
    choice=_LIMIT + _CHOICE,
    traits=Traits(compared_at=OF_A_PLAYED_SWEEP, position=224, only_with="transport"),
)
def played_high_limit(seen: PlayedSweepView) -> MeasuredValue:
    """Frequency above 1 kHz at which the played response has fallen by 3 dB."""
    return _end(seen, "upper")


def _end(seen: PlayedSweepView, end: str) -> MeasuredValue:
    """From 1 kHz outwards to the first fall of 3 dB."""
    hz, db, u = seen.level.hz, seen.db, seen.u_db
    outward = hz >= REFERENCE_HZ if end == "upper" else hz <= REFERENCE_HZ
    x, y, own = np.log(hz[outward]), db[outward], u[outward]
    if end == "lower":
        x, y, own = x[::-1], y[::-1], own[::-1]
    below = np.flatnonzero(y < -FALL_DB)
    if not len(below):
        edge = float(np.exp(x[-1]))
        return MeasuredValue(edge, 0.03 * edge, bound="lower" if end == "upper" else "upper")
    i = max(int(below[0]), 1)
    share = (y[i - 1] + FALL_DB) / max(y[i - 1] - y[i], 1e-9)
    value = float(np.exp(x[i - 1] + share * (x[i] - x[i - 1])))
    slope = max(abs(y[i] - y[i - 1]) / abs(x[i] - x[i - 1]), 1.0)
    relative = math.hypot(float(own[i]) / slope, abs(float(x[i] - x[i - 1])) / math.sqrt(12))
    return MeasuredValue(value, relative * value, relative * value)


@metric(
    "arm_resonance",
    title="Resonance of arm and cartridge",
    unit="Hz",
    better="neither",
    source="common practice, no source",
    stimuli=["played sweep"],
    version=1,
    choice="the strongest level of a sweep that reaches at least from 6 Hz to 20 Hz; refused at an "
    "end of it; " + _CHOICE,
    traits=Traits(
        compared_at=OF_A_PLAYED_SWEEP, position=222, only_with="transport", of_medium="disc"
    ),
)
def arm_resonance(seen: PlayedSweepView) -> MeasuredValue:
    """Frequency of the greatest level at low frequencies."""
    hz, _, top = _low_end(seen)
    width = abs(math.log(hz[top + 1] / hz[top - 1])) / 2 / math.sqrt(3)
    return MeasuredValue(float(hz[top]), width * float(hz[top]), width * float(hz[top]))


@metric(
    "arm_resonance_height",
    title="Height of the resonance of arm and cartridge",
    unit="dB",
    better="lower",
    source="common practice, no source",
    stimuli=["played sweep"],
    version=1,
    choice="level at the resonance over that at 20 Hz; " + _CHOICE,
    traits=Traits(
        compared_at=OF_A_PLAYED_SWEEP, position=223, only_with="transport", of_medium="disc"
    ),
)
def arm_resonance_height(seen: PlayedSweepView) -> MeasuredValue:
    """How far the resonance stands above the level at 20 Hz."""
    hz, db, top = _low_end(seen)
    above = float(np.interp(math.log(RESONANCE_HZ[1]), np.log(hz), db))
    u = math.hypot(float(seen.u_db[top]), 0.2)
    return MeasuredValue(float(db[top]) - above, u, u)


def _low_end(seen: PlayedSweepView) -> tuple[Array, Array, int]:
    """Frequencies and levels in dB up to a bit above 20 Hz, and where they are greatest."""
    low, high = seen.stated.played_sweep_hz
    if low > RESONANCE_HZ[0] or high < RESONANCE_HZ[1]:
        raise NotApplicable("a sweep from 6 Hz or below to 20 Hz or above is needed")
    kept = seen.level.hz <= 1.3 * RESONANCE_HZ[1]
    hz, db = seen.level.hz[kept], 20 * np.log10(seen.level.volts[kept])
    top = int(np.argmax(db))
    if not 0 < top < len(hz) - 1:
        raise Refusal(f"the level only falls or rises from {in_text(float(hz[0]), 'Hz', 3)} on")
    return hz, db, top


@curve(
    "played_response",
    title="Played response",
    x_unit="Hz",
    y_unit="dB",
    stimuli=["played sweep"],
    version=1,
)
def played_response(seen: PlayedSweepView) -> CurveData:
    """Level of a played sweep against its own frequency, re that at 1 kHz or the greatest."""
    db = 20 * np.log10(seen.level.volts)
    hz = seen.level.hz
    covered = hz[0] <= REFERENCE_HZ <= hz[-1]
    base = np.interp(math.log(REFERENCE_HZ), np.log(hz), db) if covered else db.max()
    return CurveData(hz, np.asarray(db - base), seen.u_db)
