"""Steady voltage at an output, beside a tone and with nothing playing."""

from __future__ import annotations

import math

import numpy as np

from backbench.metrics.declaration import MeasuredValue, metric
from backbench.metrics.noise import IdleView
from backbench.metrics.session_spreads import OFFSET
from backbench.metrics.slow_course import slow_course
from backbench.metrics.tone import ToneView
from backbench.metrics.traits import AT_POWERS, Traits
from backbench.metrics.warnings import warning
from backbench.quantities.writing import in_text
from backbench.signal.background import degrees_of_freedom
from backbench.signal.tone_course import tone_course
from backbench.signal.track import Array
from backbench.signal.uncertainty import Contribution, combine, spread

FAMILY = "Level and gain"
LIMIT_V = 0.1
"""Beyond this an output for loudspeakers is warned of: common practice, no source."""
LOUDSPEAKER_OHM = 32.0
"""Loads up to this stand for a loudspeaker."""
COVERAGE = 2.0
QUARTERS = 4


@metric(
    "dc_offset",
    title="DC offset",
    unit="V",
    better="nearer zero",
    source="IEC 60268-3 (d.c. output voltage); none names this reading from a tone",
    stimuli=["tone", "idle"],
    version=4,
    choice="mean of the record; nothing where the bench couples through a capacitor; a warning "
    f"beyond {in_text(LIMIT_V, 'V')} at a load of up to {in_text(LOUDSPEAKER_OHM, 'ohm')}",
    traits=Traits(
        session_spread=OFFSET,
        also_called=("offset", "dc"),
        compared_at=AT_POWERS,
        position=90,
        bench_gain="volts",
        sheet="one power",
    ),
)
def dc_offset(seen: ToneView | IdleView) -> MeasuredValue:
    """Steady voltage at the output while the tone plays, or with nothing playing."""
    of_lines = seen if isinstance(seen, IdleView) else seen.lines
    own, noise = of_lines.spectrum, of_lines.noise
    steady = math.sqrt(float(noise[0]) * own.window.enbw / 2)
    wander = _offset_wander(_course(seen), steady)
    record = combine([Contribution(steady, degrees_of_freedom(0, own.window.spread)), wander])
    total = combine([record, Contribution(seen.track.calibration * abs(own.mean))])
    remark = _caution(seen.capture_data.conditions.load_resistance, own.mean, total.u)
    return MeasuredValue(own.mean, total.u, record.u, total.dof, remark=remark)


def _course(seen: ToneView | IdleView) -> Array:
    """The mean of each of many parts of the record, V; empty where none can be told."""
    if isinstance(seen, IdleView):
        return slow_course(seen.track)[0]
    try:
        return tone_course(seen.track, seen.lines).offset
    except ValueError:
        return np.empty(0)


def _offset_wander(offset: Array, steady: float) -> Contribution:
    """What the steady part's wandering adds: averaging doesn't take it off, as it does of noise.

    steady: standard uncertainty of the mean that noise level towards 0 Hz gives, V. What quarters
    of the record scatter beyond that is added.
    """
    if len(offset) < QUARTERS:
        return Contribution(0.0)
    size = len(offset) // QUARTERS
    sums = np.add.reduce(offset[: QUARTERS * size].reshape(QUARTERS, size), axis=1).tolist()
    own = spread([whole / size for whole in sums])[1]
    # The window weighs about a quarter of the record.
    return Contribution(math.sqrt(max(own**2 - steady**2, 0.0)), QUARTERS - 1)


def _caution(load_ohm: float | None, volts: float, u: float) -> str | None:
    if load_ohm is None or load_ohm > LOUDSPEAKER_OHM or abs(volts) - COVERAGE * u <= LIMIT_V:
        return None
    return warning(
        f"more than {in_text(LIMIT_V, 'V')} of direct voltage at a loudspeaker output: connect no "
        "loudspeaker, its voice coil may burn. Find the cause with the load in place, and leave "
        "work inside a mains-powered unit to someone licensed for it, under your local codes"
    )
