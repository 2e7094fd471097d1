"""Response from a sweep and from an already reduced table."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from backbench.errors import NotApplicable
from backbench.metrics.declaration import CurveData, MeasuredValue, curve, metric
from backbench.metrics.response_view import REFERENCE_HZ, ResponseView
from backbench.metrics.session_spreads import ONE_SWEEP, corner
from backbench.metrics.traits import OVER_THE_BAND, CurveTraits, Traits
from backbench.quantities.writing import in_text
from backbench.signal.response import HALF_POWER_DB, Response, ResponseLevel
from backbench.signal.track import Array
from backbench.signal.uncertainty import ONE_SIDED

FAMILY = "Frequency response and phase"

AUDIO_BAND_HZ = (20.0, 20_000.0)
POINTS_HZ = (20.0, 50.0, 100.0, 200.0, 500.0, 2e3, 5e3, 10e3, 15e3, 20e3)
RESPONSES = ["sweep", "response table"]

__all__ = ["ResponseView", "gain_at_1_khz"]


def _taken(response: ResponseView, figure: MeasuredValue) -> MeasuredValue:
    """The figure with what the response tells of how it was taken."""
    return figure.but(detail={**figure.detail, **response.detail})


def held(level: ResponseLevel) -> MeasuredValue:
    """A level that is never below 0, or its upper bound where it can't be told from 0."""
    if level.db <= 2 * level.u:
        most = max(level.db + ONE_SIDED * level.u, 0.0)
        return MeasuredValue(most, level.u, level.u, bound="upper")
    return MeasuredValue(level.db, level.u, level.u)


def gain_at_1_khz(response: ResponseView) -> MeasuredValue:
    """Gain at 1 kHz. Raises NotApplicable where the input is unknown."""
    if response.gain is None:
        _ = response.level
        raise NotApplicable(
            "the table gives no gain at 1 kHz: that needs levels in volts there, and the "
            "generator's column or stated level"
        )
    return response.gain


@metric(
    "response_spread",
    title="Response, spread 20 Hz to 20 kHz",
    unit="dB",
    better="lower",
    source="IEC 60268-3 (gain-frequency response)",
    stimuli=RESPONSES,
    version=2,
    choice="greatest less least level, evaluated every 1/24 octave without smoothing; "
    "middle of the interval that holds it whichever levels are the extremes",
    traits=Traits(
        session_spread=ONE_SWEEP,
        compared_at=OVER_THE_BAND,
        flat=True,
        position=160,
        listening="flatness",
        whole_band=True,
        captions=("response-over-peers",),
    ),
)
def response_spread(response: ResponseView) -> MeasuredValue:
    """Difference between the greatest and the least level within 20 Hz to 20 kHz."""
    return _taken(response, held(_over_the_band(response).spread(*AUDIO_BAND_HZ)))


def _over_the_band(response: ResponseView) -> Response:
    """The response where it covers 20 Hz to 20 kHz. Raises NotApplicable where it doesn't."""
    level = response.level
    if not level.covers(*AUDIO_BAND_HZ):
        raise NotApplicable(
            f"measured from {in_text(level.hz[0], 'Hz', 4)} to "
            f"{in_text(level.hz[-1], 'Hz', 4)} only, not 20 Hz to 20 kHz; "
            "a sweep must begin below and end above"
        )
    return level


@metric(
    "response_deviation",
    title="Response, deviation 20 Hz to 20 kHz",
    unit="dB",
    better="lower",
    source="IEC 60268-3 (gain-frequency response)",
    stimuli=RESPONSES,
    version=2,
    choice="the greater of rise and fall re 1 kHz: the response is within plus or minus this; "
    "middle of the interval that holds it whichever level is the farthest",
    traits=Traits(session_spread=ONE_SWEEP, whole_band=True),
)
def response_deviation(response: ResponseView) -> MeasuredValue:
    """Greatest distance of the level from that at 1 kHz, within 20 Hz to 20 kHz."""
    return _taken(response, held(_over_the_band(response).farthest(*AUDIO_BAND_HZ)))


@metric(
    "response_bump",
    title="Response peak",
    unit="dB",
    better="lower",
    source="common practice, no source",
    stimuli=RESPONSES,
    version=2,
    choice="re 1 kHz, 20 Hz to 20 kHz; a bound where no rise stands out of its uncertainty",
    traits=Traits(session_spread=ONE_SWEEP),
)
def response_bump(response: ResponseView) -> MeasuredValue:
    """How far the response rises above its level at 1 kHz."""
    peak, _ = _over_the_band(response).highest(*AUDIO_BAND_HZ)
    return _taken(response, held(peak))


@metric(
    "response_bump_at",
    title="Response peak frequency",
    unit="Hz",
    better="neither",
    source="common practice, no source",
    stimuli=RESPONSES,
    version=2,
    choice="uncertain by the band in which the level is within its uncertainty of the greatest",
)
def response_bump_at(response: ResponseView) -> MeasuredValue:
    """The frequency within 20 Hz to 20 kHz at which the response rises most above 1 kHz."""
    peak, (low, high) = _over_the_band(response).highest(*AUDIO_BAND_HZ)
    if peak.db <= 2 * peak.u:
        raise NotApplicable("no rise above 1 kHz stands out of its uncertainty")
    u = (high - low) / math.sqrt(12)
    return _taken(response, MeasuredValue(math.sqrt(low * high), u, u))


@metric(
    "response_low_3db",
    title="Lower -3 dB frequency",
    unit="Hz",
    better="lower",
    source="IEC 60268-3 (gain-limited effective frequency range)",
    stimuli=RESPONSES,
    version=1,
    choice="first frequency below 1 kHz at 1/sqrt(2) of the level there",
    traits=Traits(
        session_spread=corner(3.0),
        also_called=("-3 db low", "lower -3 db", "lf -3 db", "-3 db lower"),
        compared_at=OVER_THE_BAND,
        flat=True,
        position=170,
        captions=("response-over-peers",),
    ),
)
def response_low_3db(response: ResponseView) -> MeasuredValue:
    """The frequency below 1 kHz at which the response is down by a factor of sqrt(2)."""
    return _edge(response, HALF_POWER_DB, upward=False)


@metric(
    "response_high_3db",
    title="Upper -3 dB frequency",
    unit="Hz",
    better="higher",
    source="IEC 60268-3 (gain-limited effective frequency range)",
    stimuli=RESPONSES,
    version=1,
    choice="first frequency above 1 kHz at 1/sqrt(2) of the level there",
    traits=Traits(
        session_spread=corner(3.0),
        also_called=("-3 db high", "upper -3 db", "hf -3 db", "-3 db upper"),
        compared_at=OVER_THE_BAND,
        flat=True,
        position=180,
        captions=("response-over-peers",),
    ),
)
def response_high_3db(response: ResponseView) -> MeasuredValue:
    """The frequency above 1 kHz at which the response is down by a factor of sqrt(2)."""
    return _edge(response, HALF_POWER_DB, upward=True)


@metric(
    "response_low_1db",
    title="Lower -1 dB frequency",
    unit="Hz",
    better="lower",
    source="IEC 60268-3 (gain-limited effective frequency range)",
    stimuli=RESPONSES,
    version=1,
    choice="first frequency below 1 kHz that far down re the level there",
    traits=Traits(session_spread=corner(1.0)),
)
def response_low_1db(response: ResponseView) -> MeasuredValue:
    """The frequency below 1 kHz at which the response is down by 1 dB."""
    return _edge(response, 1, upward=False)


@metric(
    "response_high_1db",
    title="Upper -1 dB frequency",
    unit="Hz",
    better="higher",
    source="IEC 60268-3 (gain-limited effective frequency range)",
    stimuli=RESPONSES,
    version=1,
    choice="first frequency above 1 kHz that far down re the level there",
    traits=Traits(session_spread=corner(1.0)),
)
def response_high_1db(response: ResponseView) -> MeasuredValue:
    """The frequency above 1 kHz at which the response is down by 1 dB."""
    return _edge(response, 1, upward=True)


@metric(
    "response_low_half_db",
    title="Lower -0.5 dB frequency",
    unit="Hz",
    better="lower",
    source="IEC 60268-3 (gain-limited effective frequency range)",
    stimuli=RESPONSES,
    version=1,
    choice="first frequency below 1 kHz that far down re the level there",
    traits=Traits(session_spread=corner(0.5)),
)
def response_low_half_db(response: ResponseView) -> MeasuredValue:
    """The frequency below 1 kHz at which the response is down by 0.5 dB."""
    return _edge(response, 0.5, upward=False)


@metric(
    "response_high_half_db",
    title="Upper -0.5 dB frequency",
    unit="Hz",
    better="higher",
    source="IEC 60268-3 (gain-limited effective frequency range)",
    stimuli=RESPONSES,
    version=1,
    choice="first frequency above 1 kHz that far down re the level there",
    traits=Traits(session_spread=corner(0.5)),
)
def response_high_half_db(response: ResponseView) -> MeasuredValue:
    """The frequency above 1 kHz at which the response is down by 0.5 dB."""
    return _edge(response, 0.5, upward=True)


def _edge(response: ResponseView, down_db: float, *, upward: bool) -> MeasuredValue:
    edge = response.level.falls_to(-down_db, REFERENCE_HZ, upward=upward)
    if edge.within:
        return _taken(response, MeasuredValue(edge.hz, edge.u, edge.u))
    return _taken(response, MeasuredValue(edge.hz, 0.0, bound="lower" if upward else "upper"))


@metric(
    "response_at",
    title="Response re 1 kHz",
    unit="dB",
    better="nearer zero",
    source="IEC 60268-3 (gain-frequency response)",
    stimuli=RESPONSES,
    version=1,
    choice="at ten frequencies from 20 Hz to 20 kHz, as far as they were measured",
    traits=Traits(session_spread=ONE_SWEEP, sheet="left out"),
)
def response_at(response: ResponseView) -> Iterator[MeasuredValue]:
    """Level at a frequency, re the level at 1 kHz."""
    covered = [hz for hz in POINTS_HZ if response.level.covers(hz, hz)]
    if not covered:
        raise NotApplicable("none of the frequencies was measured")
    for hz in covered:
        level = response.level.at(hz)
        yield _taken(response, MeasuredValue(level.db, level.u, level.u, frequency_hz=hz))


@curve(
    "response",
    title="Response",
    x_unit="Hz",
    y_unit="dB re 1 kHz",
    stimuli=RESPONSES,
    version=1,
    traits=CurveTraits(role="level over frequency"),
)
def response_curve(response: ResponseView) -> CurveData:
    """Level re 1 kHz against frequency."""
    return CurveData(response.level.hz, response.level.db, response.level.u_db)


@curve(
    "response_unsure_from_below",
    title="What a response is unsure by from below its sweep",
    x_unit="Hz",
    y_unit="dB",
    stimuli=["sweep"],
    version=1,
    traits=CurveTraits(role="level unsure from below the sweep"),
)
def response_unsure_from_below(response: ResponseView) -> CurveData:
    """Part of a response's standard uncertainty, as nothing tells how it goes on below the sweep.

    Below 0 where it was told as a plain power of frequency, above where as a network goes on.
    Raises NotApplicable where there is none.
    """
    return _from_below(response, response.below)


@curve(
    "response_unsure_from_below_loop_back",
    title="What a response is unsure by from below the sweep of the loop-back",
    x_unit="Hz",
    y_unit="dB",
    stimuli=["sweep"],
    version=1,
    traits=CurveTraits(role="level unsure from below the sweep"),
)
def response_unsure_from_below_loop_back(response: ResponseView) -> CurveData:
    """The same part of the bench's own response, which is divided out."""
    return _from_below(response, response.bench_below)


def _from_below(response: ResponseView, below: Array | None) -> CurveData:
    """Up to the last frequency at which there is any."""
    level = response.level
    if below is None or not below.any():
        raise NotApplicable("what lies below the sweep adds no uncertainty")
    shown = int(np.flatnonzero(below)[-1]) + 1
    return CurveData(level.hz[:shown], below[:shown])
