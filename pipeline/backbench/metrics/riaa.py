"""How well a phono input follows the replay equalisation of discs."""

from __future__ import annotations

from dataclasses import replace

from backbench.errors import NotApplicable
from backbench.metrics.declaration import CurveData, MeasuredValue, curve, metric
from backbench.metrics.response import AUDIO_BAND_HZ, RESPONSES, held
from backbench.metrics.response_view import ResponseView
from backbench.metrics.session_spreads import ONE_SWEEP
from backbench.metrics.traits import OVER_THE_BAND, Traits
from backbench.quantities.writing import in_text
from backbench.signal.response import Response
from backbench.signal.riaa import riaa_db

FAMILY = "Frequency response and phase"

_SOURCE = "IEC 60098 (time constants from public pages; amendment of 1976 second-hand)"
_CHOICE = (
    "greatest distance from the curve, both re 1 kHz, 20 Hz to 20 kHz; what was played is taken "
    "as what reached the input"
)


def _deviation(response: ResponseView, *, amended: bool) -> Response:
    """Response less the curve. Raises NotApplicable for other inputs and narrower bands."""
    level = response.level
    if "phono" not in (response.conditions.input or "").lower():
        raise NotApplicable("the input isn't named as a phono input")
    if not level.covers(*AUDIO_BAND_HZ):
        raise NotApplicable(
            f"measured from {in_text(level.hz[0], 'Hz', 4)} to "
            f"{in_text(level.hz[-1], 'Hz', 4)} only, not 20 Hz to 20 kHz"
        )
    return Response(level.hz, level.db - riaa_db(level.hz, amended=amended), level.u_db)


def _error(response: ResponseView, *, amended: bool) -> MeasuredValue:
    error = _deviation(response, amended=amended).farthest(*AUDIO_BAND_HZ)
    return replace(held(error), detail=response.detail)


@metric(
    "riaa_error",
    title="RIAA error",
    unit="dB",
    better="lower",
    source=_SOURCE,
    stimuli=RESPONSES,
    version=2,
    choice="without the amendment; " + _CHOICE,
    traits=Traits(
        session_spread=ONE_SWEEP,
        compared_at=OVER_THE_BAND,
        position=181,
        listening="flatness",
        only_with="phono stage",
        equalised=True,
        whole_band=True,
    ),
)
def riaa_error(response: ResponseView) -> MeasuredValue:
    """Greatest deviation of a phono input from the replay curve 3180, 318, 75 us."""
    return _error(response, amended=False)


@metric(
    "riaa_error_iec",
    title="RIAA error, IEC amendment",
    unit="dB",
    better="lower",
    source=_SOURCE,
    stimuli=RESPONSES,
    version=2,
    choice="with the amendment's high-pass; " + _CHOICE,
    traits=Traits(
        session_spread=ONE_SWEEP,
        compared_at=OVER_THE_BAND,
        position=182,
        listening="flatness",
        only_with="phono stage",
        equalised=True,
        whole_band=True,
    ),
)
def riaa_error_iec(response: ResponseView) -> MeasuredValue:
    """Greatest deviation of a phono input from the replay curve with 7950 us besides."""
    return _error(response, amended=True)


@curve(
    "riaa_deviation",
    title="Deviation from the replay curve (3180, 318, 75 us)",
    x_unit="Hz",
    y_unit="dB",
    stimuli=RESPONSES,
    version=1,
)
def riaa_deviation(response: ResponseView) -> CurveData:
    """Response of a phono input re 1 kHz less the replay curve."""
    deviation = _deviation(response, amended=False)
    return CurveData(deviation.hz, deviation.db, deviation.u_db)
