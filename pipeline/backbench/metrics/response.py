"""Response from a sweep and from an already reduced table."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declare import CurveData, Figure, Material, curve, metric, view
from backbench.signal.response import HALF_POWER_DB, Response, resolution
from backbench.signal.soundness import check_record
from backbench.signal.sweep import transfer
from backbench.signal.sweep_window import Sweep as Played
from backbench.signal.uncertainty import DB_PER_RELATIVE
from backbench.stimuli import Sweep, Table

REFERENCE_HZ = 1000.0
AUDIO_BAND_HZ = (20.0, 20_000.0)
POINTS_HZ = (20.0, 50.0, 100.0, 200.0, 500.0, 2e3, 5e3, 10e3, 15e3, 20e3)
RESPONSES = ["sweep", "response table"]


@dataclass(frozen=True, eq=False)
class ResponseView:
    """A response in dB re 1 kHz, and the gain there where the input is known.

    level: the response re 1 kHz; its uncertainties include those of the level at 1 kHz.
    gain: output over input at 1 kHz in dB; None from a table.
    """

    level: Response
    gain: Figure | None


@view("sweep", version=1)
def sweep(material: Material, number: int) -> ResponseView:
    """Transfer function from what was played to output track `number`."""
    stimulus = material.stimulus
    assert isinstance(stimulus, Sweep)
    track, played = material.outputs[number], material.reference or material.generator
    if played is None:
        raise Refusal("what was played was not recorded")
    if played.rate_hz != track.rate_hz:
        raise Refusal(
            f"the output was sampled at {track.rate_hz:g} Hz, what was played at "
            f"{played.rate_hz:g} Hz"
        )
    check_record(track)
    low, high = stimulus.sweep_hz
    found = transfer(played.volts, track.volts, track.rate_hz, Played(low, high, stimulus.sweep_s))
    magnitude = np.abs(found.ratio)
    whole = Response(
        found.frequency_hz, 20 * np.log10(magnitude), DB_PER_RELATIVE * found.noise / magnitude
    )
    at_reference = whole.at(REFERENCE_HZ)
    shared = DB_PER_RELATIVE * math.hypot(track.calibration, played.calibration)
    gain = Figure(
        at_reference.db, math.hypot(at_reference.u, shared), at_reference.u,
        frequency_hz=REFERENCE_HZ,
    )  # fmt: skip
    return ResponseView(_re_reference(whole), gain)


@view("response table", version=1)
def response_table(material: Material, number: int) -> ResponseView:
    """The table's levels in dB, or in volts, re that at 1 kHz."""
    stimulus, table = material.stimulus, material.table
    assert isinstance(stimulus, Table)
    assert table is not None
    order = np.argsort(table["frequency"], kind="stable")
    hz, level = table["frequency"][order], table["level"][order]
    printed = resolution(level)
    if stimulus.columns["level"].unit == "dB":
        return ResponseView(_re_reference(Response(hz, level, np.full(len(hz), printed))), None)
    if (level <= 0).any():
        raise Refusal("a level of 0 V or below")
    whole = Response(hz, 20 * np.log10(level), DB_PER_RELATIVE * printed / level)
    return ResponseView(_re_reference(whole), None)


def _re_reference(whole: Response) -> Response:
    reference = whole.at(REFERENCE_HZ)
    return Response(whole.hz, whole.db - reference.db, np.hypot(whole.u_db, reference.u))


def gain_at_1_khz(response: ResponseView) -> Figure:
    """Gain at 1 kHz. Raises NotApplicable where the input is unknown."""
    if response.gain is None:
        raise NotApplicable("a table does not tell the input")
    return response.gain


@metric(
    "response_spread",
    title="Response, spread 20 Hz to 20 kHz",
    unit="dB",
    better="lower",
    source="IEC 60268-3 (gain-frequency response)",
    stimuli=RESPONSES,
    version=1,
    choice="greatest less least level, evaluated every 1/24 octave without smoothing",
)
def response_spread(response: ResponseView) -> Figure:
    """Difference between the greatest and the least level within 20 Hz to 20 kHz."""
    level = response.level
    if not level.covers(*AUDIO_BAND_HZ):
        raise NotApplicable(
            f"measured from {level.hz[0]:.4g} to {level.hz[-1]:.4g} Hz only, not 20 Hz to 20 kHz; "
            "a sweep must begin below and end above"
        )
    spread, chance = level.spread(*AUDIO_BAND_HZ)
    # Noise alone widens a spread: where it accounts for most of it, the figure is a bound.
    u = math.hypot(spread.u, chance / math.sqrt(3))
    return Figure(spread.db, u, u, bound="upper" if spread.db <= 2 * chance else None)


@metric(
    "response_low_3db",
    title="Lower -3 dB frequency",
    unit="Hz",
    better="lower",
    source="IEC 60268-3 (gain-limited effective frequency range)",
    stimuli=RESPONSES,
    version=1,
    choice="first frequency below 1 kHz at 1/sqrt(2) of the level there",
)
def response_low_3db(response: ResponseView) -> Figure:
    """The frequency below 1 kHz at which the response is down by a factor of sqrt(2)."""
    return _edge(response.level, upward=False)


@metric(
    "response_high_3db",
    title="Upper -3 dB frequency",
    unit="Hz",
    better="higher",
    source="IEC 60268-3 (gain-limited effective frequency range)",
    stimuli=RESPONSES,
    version=1,
    choice="first frequency above 1 kHz at 1/sqrt(2) of the level there",
)
def response_high_3db(response: ResponseView) -> Figure:
    """The frequency above 1 kHz at which the response is down by a factor of sqrt(2)."""
    return _edge(response.level, upward=True)


def _edge(level: Response, *, upward: bool) -> Figure:
    found = level.falls_to(-HALF_POWER_DB, REFERENCE_HZ, upward=upward)
    if found.within:
        return Figure(found.hz, found.u, found.u)
    return Figure(found.hz, 0.0, bound="lower" if upward else "upper")


@metric(
    "response_at",
    title="Response re 1 kHz",
    unit="dB",
    better="nearer zero",
    source="IEC 60268-3 (gain-frequency response)",
    stimuli=RESPONSES,
    version=1,
    choice="at ten frequencies from 20 Hz to 20 kHz, as far as they were measured",
)
def response_at(response: ResponseView) -> Iterator[Figure]:
    """Level at a frequency, re the level at 1 kHz."""
    covered = [hz for hz in POINTS_HZ if response.level.covers(hz, hz)]
    if not covered:
        raise NotApplicable("none of the frequencies was measured")
    for hz in covered:
        found = response.level.at(hz)
        yield Figure(found.db, found.u, found.u, frequency_hz=hz)


@curve(
    "response", title="Response", x_unit="Hz", y_unit="dB re 1 kHz", stimuli=RESPONSES, version=1
)
def response_curve(response: ResponseView) -> CurveData:
    """Level re 1 kHz against frequency."""
    return CurveData(response.level.hz, response.level.db, response.level.u_db)
