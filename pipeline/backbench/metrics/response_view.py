"""A response as its metrics see it: from a sweep, corrected by the bench's own, or a table."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Sweep, Table, generator_level
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.bench_levels import loop_backs
from backbench.metrics.bench_shape import BenchShape, shape_at
from backbench.metrics.declaration import CaptureData, MeasuredValue, view
from backbench.metrics.table_uncertainty import column_u, declared_column
from backbench.quantities.reading import DBU_V
from backbench.quantities.writing import in_text
from backbench.signal.record_checks import check_record
from backbench.signal.response import Response
from backbench.signal.side_by_side import alike, transform
from backbench.signal.sweep import LEAST_LINEAR, Transfer, transfer_of
from backbench.signal.sweep_excitation import PlayedSweep, played_sweep, transform_size
from backbench.signal.sweep_impulse import SweptImpulse, swept_impulses
from backbench.signal.sweep_window import SweepParameters
from backbench.signal.track import Array, Track
from backbench.signal.uncertainty import DB_PER_RELATIVE

REFERENCE_HZ = 1000.0
UNCORRECTED = {"bench": "uncorrected"}


@dataclass(frozen=True, eq=False)
class Angle:
    """Phase in rad, unwrapped, at the response's frequencies, and its standard uncertainty."""

    rad: Array
    u: Array


@dataclass(frozen=True, eq=False)
class Crosstalk:
    """What a driven output leaves at an undriven one.

    driven, undriven: magnitudes of their transfers at the same frequencies; noise of the latter.
    u_shared: relative uncertainty of their ratio from the tracks' calibrations.
    """

    hz: Array
    driven: Array
    undriven: Array
    noise: Array
    u_shared: float


@dataclass(frozen=True, eq=False)
class ResponseView:
    """A response in dB re 1 kHz, and the gain there where the input is known.

    measured: the response re 1 kHz; its uncertainties include those of the level at 1 kHz. None
        for an output that was not driven.
    gain: output over input at 1 kHz in dB; None from a table that doesn't give it.
    phase: the sweep's arrival taken off; None where it isn't known.
    arrival_s: delay that was taken off the phase, s; None where the input was not recorded beside
        the output, so that it isn't known.
    below, bench_below: the parts of the response's uncertainties that come from how the output
        and the bench's loop-back may go on below a sweep, dB, at its frequencies, with the sign of
        sweep_impulse.continued; None from a table, and without a loop-back.
    detail: what every reading of the response tells of how it was taken.
    """

    measured: Response | None
    gain: MeasuredValue | None
    conditions: Conditions
    phase: Angle | None = None
    crosstalk: Crosstalk | None = None
    arrival_s: float | None = None
    below: Array | None = None
    bench_below: Array | None = None
    detail: dict[str, str] = field(default_factory=dict)

    @property
    def level(self) -> Response:
        """The response of a driven output. Raises NotApplicable for another."""
        if self.measured is None:
            raise NotApplicable("this output was not driven in this capture")
        return self.measured


@view("sweep", version=10)
def sweep(capture_data: CaptureData, number: int) -> ResponseView:
    """Transfer function from what was played to output track `number`.

    The shape of the bench's own, from loop-backs under the same sweep and input range at the
    nearest levels, is divided out; where there is none, the readings say so.
    """
    if capture_data.driven_track not in (None, number):
        return ResponseView(
            None, None, capture_data.conditions, crosstalk=_crosstalk(capture_data, number)
        )
    track, played = capture_data.outputs[number], _played(capture_data)
    transfer = _transfer(capture_data, number)
    magnitude = np.abs(transfer.ratio)
    bench = _bench_own(capture_data, number, transfer)
    ratio = transfer.ratio if bench is None else transfer.ratio / bench.ratio
    relative = transfer.noise / magnitude
    if bench is not None:
        relative = np.hypot(relative, bench.noise)
    whole = Response(
        transfer.frequency_hz, 20 * np.log10(np.abs(ratio)), DB_PER_RELATIVE * relative
    )
    shared = DB_PER_RELATIVE * math.hypot(track.calibration, played.calibration)
    return ResponseView(
        _re_reference(whole),
        _gain(transfer, shared),
        capture_data.conditions,
        Angle(np.unwrap(np.angle(ratio)), relative),
        arrival_s=transfer.arrival_s if played is capture_data.generator else None,
        below=None if transfer.below is None else DB_PER_RELATIVE * transfer.below / magnitude,
        bench_below=None if bench is None or bench.below is None else DB_PER_RELATIVE * bench.below,
        detail={} if bench else UNCORRECTED,
    )


def _gain(transfer: Transfer, shared: float) -> MeasuredValue:
    """Gain at 1 kHz, as calibrated: the bench's loop-back corrects the shape alone."""
    magnitude = np.abs(transfer.ratio)
    levels = Response(
        transfer.frequency_hz,
        20 * np.log10(magnitude),
        DB_PER_RELATIVE * transfer.noise / magnitude,
    )
    at = levels.at(REFERENCE_HZ)
    return MeasuredValue(at.db, math.hypot(at.u, shared), at.u, frequency_hz=REFERENCE_HZ)


def _played(capture_data: CaptureData) -> Track:
    played = capture_data.reference or capture_data.generator
    if played is None:
        raise Refusal("what was played was not recorded")
    return played


def _transfer(
    capture_data: CaptureData, number: int, least_linear: float = LEAST_LINEAR
) -> Transfer:
    stimulus, track, played = (
        capture_data.stimulus,
        capture_data.outputs[number],
        _played(capture_data),
    )
    assert isinstance(stimulus, Sweep)
    if played.rate_hz != track.rate_hz:
        raise Refusal(
            f"the output was sampled at {in_text(track.rate_hz, 'Hz', 6)}, what was played at "
            f"{in_text(played.rate_hz, 'Hz', 6)}"
        )
    check_record(track)
    low, high = stimulus.sweep_hz
    meant = SweepParameters(low, high, stimulus.sweep_s)
    sent = _sent(played, len(track.volts), meant)
    return transfer_of(sent, track.volts, least_linear, _in_time(capture_data, track, sent))


_responses: WeakKeyDictionary[PlayedSweep, WeakKeyDictionary[Track, SweptImpulse]] = (
    WeakKeyDictionary()
)


def _in_time(capture_data: CaptureData, track: Track, sent: PlayedSweep) -> SweptImpulse:
    """The response of a sound output in time, made and kept for all that were recorded with it."""
    kept = _responses.setdefault(sent, WeakKeyDictionary())
    if track in kept:
        return kept[track]
    outputs = list(capture_data.outputs.values())
    together = [one for one in alike(track) if one in outputs and _holds_something(one)]
    transforms = [transform(one, sent.size) for one in together]
    made = dict(zip(together, swept_impulses(sent, transforms), strict=True))
    if len(made) > 1:
        kept.update(made)
    return made[track]


def _holds_something(track: Track) -> bool:
    low, high = track.lowest_and_highest
    return math.isfinite(low) and math.isfinite(high) and low < high


_kept: WeakKeyDictionary[Track, dict[tuple[int, SweepParameters], PlayedSweep]] = (
    WeakKeyDictionary()
)


def _sent(played: Track, length: int, meant: SweepParameters) -> PlayedSweep:
    """What was played, made ready at the first output of its length and kept as the track is."""
    kept = _kept.setdefault(played, {})
    if (length, meant) not in kept:
        transformed = transform(played, transform_size(len(played.volts), length))
        kept[length, meant] = played_sweep(played.volts, length, played.rate_hz, meant, transformed)
    return kept[length, meant]


def _bench_own(capture_data: CaptureData, number: int, wanted: Transfer) -> Transfer | None:
    """The bench's own shape at the level of the capture; None where no loop-back can be used."""
    benches = loop_backs(capture_data)
    shapes = [shape for one in benches if (shape := _bench_shape(one, number, wanted))]
    if not shapes:
        return None
    middle = float(np.interp(REFERENCE_HZ, wanted.frequency_hz, np.abs(wanted.ratio)))
    return shape_at(middle * _greatest_v(_played(capture_data)), shapes)


def _greatest_v(played: Track) -> float:
    return float(np.max(np.abs(played.volts)))


def _bench_shape(bench: CaptureData, number: int, wanted: Transfer) -> BenchShape | None:
    """The loop-back's transfer re its magnitude at 1 kHz, on the same frequencies.

    Of the same track, or of the only one. None where it can't be used. Noise and below: relative.
    """
    if number not in bench.outputs and len(bench.outputs) > 1:
        return None
    try:
        transfer = _transfer(bench, number if number in bench.outputs else min(bench.outputs))
    except Refusal:
        return None
    own, hz = transfer.frequency_hz, wanted.frequency_hz
    if own[0] > hz[0] * (1 + 1e-6) or own[-1] < hz[-1] * (1 - 1e-6):
        return None
    ratio = np.interp(hz, own, transfer.ratio)
    noise = np.interp(hz, own, transfer.noise) / np.abs(ratio)
    middle = float(abs(np.interp(REFERENCE_HZ, own, transfer.ratio)))
    level_v = middle * _greatest_v(_played(bench))
    below = None if transfer.below is None else np.interp(hz, own, transfer.below) / np.abs(ratio)
    return BenchShape(level_v, Transfer(hz, ratio / middle, noise, transfer.arrival_s, below))


def _crosstalk(capture_data: CaptureData, number: int) -> Crosstalk:
    """Raises Refusal where the driven output isn't among the tracks."""
    driven_track = capture_data.driven_track or 0
    if driven_track not in capture_data.outputs:
        raise Refusal("the driven output is not among the tracks")
    driven = _transfer(capture_data, driven_track)
    undriven = _transfer(capture_data, number, least_linear=0.0)
    calibrations = [capture_data.outputs[n].calibration for n in (driven_track, number)]
    return Crosstalk(
        driven.frequency_hz, np.abs(driven.ratio), np.abs(undriven.ratio), undriven.noise,
        math.hypot(*calibrations),
    )  # fmt: skip


@view("response table", version=7)
def response_table(capture_data: CaptureData, number: int) -> ResponseView:
    """The table's levels in dB, or in volts, re that at 1 kHz; its phase where it has one.

    Levels in volts give the gain at 1 kHz, re the generator's column or its stated level.
    """
    stimulus, table = capture_data.stimulus, capture_data.table
    assert isinstance(stimulus, Table)
    assert table is not None
    order = np.argsort(table["frequency"], kind="stable")
    hz = table["frequency"][order]
    phase = None
    if "phase" in table:
        u_phase = np.radians(column_u(capture_data, "phase")[order])
        phase = Angle(np.unwrap(np.radians(table["phase"][order])), u_phase)
    level = _decibels(capture_data, "level", order)
    if "generator" not in table:
        gain = _gain_of_table(capture_data, level)
        return ResponseView(_re_reference(level), gain, capture_data.conditions, phase)
    played = _decibels(capture_data, "generator", order)
    over = Response(hz, level.db - played.db, np.hypot(level.u_db, played.u_db))
    gain = _at_reference(over) if _in_volts(capture_data) else None
    return ResponseView(_re_reference(over), gain, capture_data.conditions, phase)


ABSOLUTE_DB = {"dBV": 0.0, "dBu": 20 * math.log10(DBU_V)}
"""Units of level, in dB re 1 V."""


def _decibels(capture_data: CaptureData, key: str, order: NDArray[np.intp]) -> Response:
    """A column of level in dB, of volts re 1 V. Raises Refusal for 0 V and below."""
    table, column = capture_data.table, declared_column(capture_data, key)
    assert table is not None
    hz, level = table["frequency"][order], table[key][order]
    u = column_u(capture_data, key)[order]
    if column is not None and column.unit.startswith("dB"):
        return Response(hz, level + ABSOLUTE_DB.get(column.unit, 0.0), u)
    if (level <= 0).any():
        raise Refusal("a level of 0 V or below")
    return Response(hz, 20 * np.log10(level), DB_PER_RELATIVE * u / level)


def _in_volts(capture_data: CaptureData) -> bool:
    """Whether the levels of a table are volts, in whatever unit, and no mere ratios."""
    columns = [declared_column(capture_data, key) for key in ("level", "generator")]
    return all(column is None or column.unit != "dB" for column in columns)


def _gain_of_table(capture_data: CaptureData, level: Response) -> MeasuredValue | None:
    """Gain at 1 kHz over the generator's stated level; None where either isn't known in volts."""
    given, column = generator_level(capture_data.stimulus), declared_column(capture_data, "level")
    if given is None or column is None or not _in_volts(capture_data):
        return None
    at = _at_reference(level)
    if at is None:
        return None
    shared = DB_PER_RELATIVE * capture_data.generator_uncertainty
    return replace(
        at, value=at.value - 20 * math.log10(given), uncertainty=math.hypot(at.uncertainty, shared)
    )


def _at_reference(level: Response) -> MeasuredValue | None:
    """A level at 1 kHz, dB; None where the table doesn't reach there."""
    if not level.covers(REFERENCE_HZ, REFERENCE_HZ):
        return None
    at = level.at(REFERENCE_HZ)
    return MeasuredValue(at.db, at.u, at.u, frequency_hz=REFERENCE_HZ)


def _re_reference(whole: Response) -> Response:
    reference = whole.at(REFERENCE_HZ)
    return Response(whole.hz, whole.db - reference.db, np.hypot(whole.u_db, reference.u))
