"""Separation from a sweep with one output driven."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from backbench.errors import NotApplicable
from backbench.metrics.declaration import CurveData, MeasuredValue, curve, metric
from backbench.metrics.response import POINTS_HZ
from backbench.metrics.response_view import Crosstalk, ResponseView
from backbench.signal.uncertainty import DB_PER_RELATIVE, ONE_SIDED

FAMILY = "Channel balance and crosstalk"

STANDS_OUT = 2.0
"""Crosstalk below this times its noise is given as a bound."""
SWEPT_HZ = tuple(sorted({*POINTS_HZ, 1000.0}))


def _known(response: ResponseView) -> Crosstalk:
    if response.crosstalk is None:
        raise NotApplicable("given only for an output that was not driven while another was")
    return response.crosstalk


@metric(
    "separation_at",
    title="Channel separation (crosstalk), swept",
    unit="dB",
    better="higher",
    source="IEC 60268-3 (crosstalk attenuation); definition from memory",
    stimuli=["sweep"],
    version=2,
    choice="20 lg(driven / undriven) of the linear responses, given for the undriven output; "
    "a bound where the crosstalk is within twice its noise",
)
def separation_at(response: ResponseView) -> Iterator[MeasuredValue]:
    """Level of the driven output re what it leaves at this one, at a frequency."""
    known = _known(response)
    covered = [
        hz for hz in SWEPT_HZ if known.hz[0] <= hz * 1.000001 and hz <= known.hz[-1] * 1.000001
    ]
    if not covered:
        raise NotApplicable("none of the frequencies was measured")
    for hz in covered:
        driven, left, noise = (
            float(np.interp(math.log(hz), np.log(known.hz), values))
            for values in (known.driven, known.undriven, known.noise)
        )
        if left <= STANDS_OUT * noise:
            least = 20 * math.log10(driven / (left + ONE_SIDED * noise))
            u = DB_PER_RELATIVE * known.u_shared
            yield MeasuredValue(least, u, bound="lower", frequency_hz=hz)
            continue
        own = DB_PER_RELATIVE * noise / left
        u = math.hypot(own, DB_PER_RELATIVE * known.u_shared)
        yield MeasuredValue(20 * math.log10(driven / left), u, own, frequency_hz=hz)


@curve(
    "separation",
    title="Channel separation (where the crosstalk stands out of its noise)",
    x_unit="Hz",
    y_unit="dB",
    stimuli=["sweep"],
    version=1,
)
def separation_curve(response: ResponseView) -> CurveData:
    """Level of the driven output re what it leaves at this one, against frequency."""
    known = _known(response)
    there = known.undriven > STANDS_OUT * known.noise
    if np.count_nonzero(there) < 2:
        raise NotApplicable("the crosstalk doesn't stand out of the noise")
    driven, left = known.driven[there], known.undriven[there]
    own = np.hypot(known.noise[there] / left, known.u_shared)
    return CurveData(known.hz[there], 20 * np.log10(driven / left), DB_PER_RELATIVE * own)
