"""What a disc player or converter makes of the levels that it plays from a file or disc."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from backbench.metrics.declaration import Bound, MeasuredValue, derived
from backbench.metrics.reading_ratios import is_near, ratio_in_db, ratio_uncertainty
from backbench.metrics.session import (
    Derived,
    DerivedResult,
    Reading,
    RefusedDerivation,
    Session,
    grouped,
    limited,
)
from backbench.metrics.session_spreads import ONE_SWEEP, RESIDUAL_DB
from backbench.metrics.traits import AT_RECORDED_LEVELS, Traits
from backbench.quantities.writing import exact
from backbench.signal.track import Array
from backbench.signal.uncertainty import DB_PER_RELATIVE

FAMILY = "Converters and disc players"

LEAST_REFERENCE_DB = -20.0
LOW_TONE_DB, LOW_TONE_WITHIN_DB = -60.0, 1.0
LINEAR_TO_DB = -90.0
"""Levels down to this one make the linearity; those of 16 bits end at about -98 dB."""
ENOUGH_LOW_DB = -80.0
EMPHASIS_S = (50e-6, 15e-6)
"""Time constants of the compact disc's emphasis (IEC 60908, from memory)."""
IDLE_WEIGHTINGS = {"noise": "none", "noise_a": "A", "noise_ccir_rms": "CCIR-RMS"}
_RECORDER = "the recorder's own linearity is not known and not in the uncertainty"


def _levels(session: Session) -> list[Reading]:
    return [
        r for r in session.of("level", stimulus="tone")
        if r.full_scale_db is not None and r.driven in (None, r.output) and r.value
    ]  # fmt: skip


def _place(r: Reading) -> tuple[object, ...]:
    return (
        r.unit_key, r.output, r.input, r.tap, r.volume, r.controls, r.load_kind, r.load_ohm,
        r.driven,
    )  # fmt: skip


def _is_near_1_khz(r: Reading) -> bool:
    return is_near(r, 1000.0)


def _reference(session: Session, levels: list[Reading]) -> Reading | None:
    """The tone of 1 kHz nearest to full scale that isn't limited; None where all are far below."""
    sound = [
        r for r in levels
        if (r.full_scale_db or 0.0) >= LEAST_REFERENCE_DB and r.bound is None
        and _is_near_1_khz(r) and not r.pre_emphasis and not limited(session, r)
    ]  # fmt: skip
    return max(sound, key=lambda r: r.full_scale_db or 0.0, default=None)


def _difference(level: Reading, reference: Reading) -> MeasuredValue:
    """Decibels between two levels less those that were stated; one calibration cancels."""
    stated = (level.full_scale_db or 0.0) - (reference.full_scale_db or 0.0)
    ratio = ratio_in_db(level, reference)
    return replace(ratio, value=ratio.value - stated)


def _errors(session: Session) -> Iterator[list[tuple[Derived | RefusedDerivation, Reading]]]:
    """For each output the errors of its tones of 1 kHz, each with the tone's level."""
    plain = [r for r in _levels(session) if _is_near_1_khz(r) and not r.pre_emphasis]
    for same in grouped(plain, _place).values():
        reference = _reference(session, same)
        if reference is None:
            continue
        others = [r for r in same if r.full_scale_db != reference.full_scale_db]
        errors = [(_error(r, reference), r) for r in others]
        if errors:
            yield errors


def _error(level: Reading, reference: Reading) -> Derived | RefusedDerivation:
    detail = {"recorded": f"{exact(level.full_scale_db or 0.0, 'dB')} re full scale"}
    if level.bound is not None:
        reason = "the tone doesn't stand out of the noise beside it; record for longer"
        return RefusedDerivation(reason, level, (level, reference), detail=detail)
    return Derived(replace(_difference(level, reference), detail=detail), level, (level, reference))


@derived(
    "level_error",
    title="Level error of a played tone",
    unit="dB",
    better="nearer zero",
    source="AES17 (level-dependent gain; from memory)",
    version=1,
    choice="level at the output re that of the tone nearest to full scale, less the difference of "
    f"the levels stated; at 1 kHz, with dither in the file; {_RECORDER}",
    traits=Traits(
        session_spread=ONE_SWEEP, given_by="tones of 1 kHz at stated levels re full scale"
    ),
)
def level_error(session: Session) -> Iterator[DerivedResult]:
    """How far the output is off the level that a tone has in the file or on the disc."""
    for errors in _errors(session):
        yield from (error for error, _ in errors)


@derived(
    "level_linearity",
    title="Linearity down to -90 dB",
    unit="dB",
    better="lower",
    source="AES17 (level-dependent gain; from memory)",
    version=1,
    choice="greatest level error, of either sign, of tones from full scale to 90 dB below it, one "
    f"of them 80 dB below or lower; {_RECORDER}",
    traits=Traits(
        compared_at=AT_RECORDED_LEVELS,
        position=162,
        point_family="recorded levels",
        session_spread=ONE_SWEEP,
        only_with="played source",
        given_by="tones of 1 kHz at stated levels re full scale",
    ),
)
def level_linearity(session: Session) -> Iterator[DerivedResult]:
    """The greatest level error of played tones."""
    for errors in _errors(session):
        within = [(e, r) for e, r in errors if (r.full_scale_db or 0.0) >= LINEAR_TO_DB]
        known = [e for e, _ in within if isinstance(e, Derived)]
        made_from = tuple({r.key: r for e, _ in within for r in e.made_from}.values())
        refused = next((e for e, _ in within if isinstance(e, RefusedDerivation)), None)
        if refused is not None:
            yield RefusedDerivation(refused.reason, refused.like, made_from)
        elif min((r.full_scale_db or 0.0 for _, r in within), default=0.0) <= ENOUGH_LOW_DB:
            worst = max(known, key=lambda e: abs(e.figure.value))
            figure = replace(worst.figure, value=abs(worst.figure.value), detail={})
            yield Derived(figure, worst.like, made_from)


def _re_full_scale(session: Session, of: list[Reading]) -> Iterator[tuple[Reading, float, Reading]]:
    """Readings in V beside the volts of a sine of full scale, where the session tells them."""
    levels = grouped(_levels(session), _place)
    for reading in of:
        reference = _reference(session, levels.get(_place(reading), []))
        if reference is not None and reading.value and reference.value:
            yield reading, reference.value * 10 ** (-(reference.full_scale_db or 0) / 20), reference


def _over_full_scale(
    reading: Reading, volts: float, reference: Reading, weighting: str, *, sign: int
) -> Derived:
    """20 lg of full scale over a voltage (sign 1) or of the voltage over full scale (-1)."""
    own, u = ratio_uncertainty(reading, reference)
    bound: Bound | None = None
    if reading.bound is not None:
        bound = "lower" if sign > 0 else "upper"
    figure = MeasuredValue(
        sign * 20 * math.log10(volts / (reading.value or 1.0)), DB_PER_RELATIVE * u,
        DB_PER_RELATIVE * own, reading.dof or math.inf, bound, detail={"weighting": weighting},
    )  # fmt: skip
    return Derived(figure, reading, (reading, reference))


@derived(
    "dynamic_range",
    title="Dynamic range",
    unit="dB",
    better="higher",
    source="AES17, 6.4.1 (second-hand: an open library's documentation)",
    version=1,
    choice="a sine of full scale over noise and distortion beside a tone of 1 kHz 60 dB below it, "
    "20 Hz to 20 kHz, CCIR-RMS as the standard has it, A-weighted and unweighted (detail tells "
    "which); the recorder's own noise included",
    traits=Traits(
        compared_at=AT_RECORDED_LEVELS,
        position=164,
        point_family="recorded levels",
        session_spread=RESIDUAL_DB,
        only_with="played source",
        given_by="tones of 1 kHz at full scale and 60 dB below it",
    ),
)
def dynamic_range(session: Session) -> Iterator[Derived]:
    """Full scale over what stands beside a tone 60 dB below it."""
    low = [
        r for r in session.of("played_residual")
        if r.full_scale_db is not None and _is_near_1_khz(r)
        and abs(r.full_scale_db - LOW_TONE_DB) <= LOW_TONE_WITHIN_DB
    ]  # fmt: skip
    for reading, volts, reference in _re_full_scale(session, low):
        yield _over_full_scale(reading, volts, reference, reading.detail["weighting"], sign=1)


@derived(
    "silence_noise",
    title="Noise with digital silence re full scale",
    unit="dB",
    better="lower",
    source="AES17, 6.4.2 (idle channel noise; second-hand: an open library's documentation)",
    version=1,
    choice="idle noise, 20 Hz to 20 kHz, re a sine of full scale, CCIR-RMS as the standard has it, "
    "A-weighted and unweighted (detail tells which); a unit that mutes its output in silence shows "
    "that here, and its dynamic range doesn't",
    traits=Traits(
        compared_at=AT_RECORDED_LEVELS,
        position=166,
        listening="unweighted noise below reference",
        point_family="recorded levels",
        session_spread=RESIDUAL_DB,
        only_with="played source",
        usual_stimulus="idle",
        given_by="an idle capture with digital silence and a tone of 1 kHz at full scale",
    ),
)
def silence_noise(session: Session) -> Iterator[Derived]:
    """Noise at the output while digital silence plays, re a sine of full scale."""
    for metric, weighting in IDLE_WEIGHTINGS.items():
        for found in _re_full_scale(session, session.of(metric, stimulus="idle")):
            yield _over_full_scale(*found, weighting, sign=-1)


def deemphasis_db(hz: Array) -> Array:
    """Level that the compact disc's emphasis is undone by, re 0 Hz, dB."""
    slow, fast = (np.log10(1 + np.square(2 * np.pi * hz * tau)) for tau in EMPHASIS_S)
    return np.asarray(10 * (fast - slow))


def _over_frequency(session: Session, emphasised: bool) -> Iterator[tuple[Derived, float]]:
    """Each tone beside that of 1 kHz, both as stated, with the decibels between them."""
    chosen = [r for r in _levels(session) if r.pre_emphasis == emphasised and r.bound is None]
    for same in grouped(chosen, _place).values():
        loud = [r for r in same if (r.full_scale_db or 0.0) >= 2 * LEAST_REFERENCE_DB]
        middle = max(
            filter(_is_near_1_khz, loud), key=lambda r: r.full_scale_db or 0.0, default=None
        )
        if middle is None:
            continue
        for others in grouped(loud, lambda r: r.frequency_hz).values():
            other = max(others, key=lambda r: r.full_scale_db or 0.0)
            if not _is_near_1_khz(other):
                figure = _difference(other, middle)
                yield Derived(figure, other, (other, middle)), other.frequency_hz or 0.0


@derived(
    "played_response",
    title="Response of played tones re 1 kHz",
    unit="dB",
    better="nearer zero",
    source="AES17 (frequency response; from memory)",
    version=1,
    choice="level of a tone re that of 1 kHz, less the difference of the levels stated; tones "
    "without pre-emphasis, 40 dB below full scale or above",
    traits=Traits(session_spread=ONE_SWEEP),
)
def played_response(session: Session) -> Iterator[Derived]:
    """Level of a tone that the unit plays, re the level at 1 kHz."""
    for given, _ in _over_frequency(session, False):
        yield given


@derived(
    "disc_deemphasis_error",
    title="De-emphasis error of a disc",
    unit="dB",
    better="nearer zero",
    source="IEC 60908 (time constants of 50 us and 15 us; from memory)",
    version=1,
    choice="level of a tone with pre-emphasis re that of 1 kHz, less the difference of the levels "
    "stated as recorded, less the fall of the de-emphasis; its own response included",
    traits=Traits(session_spread=ONE_SWEEP),
)
def disc_deemphasis_error(session: Session) -> Iterator[Derived]:
    """How far a tone recorded with pre-emphasis is off the level that it should play at."""
    for given, hz in _over_frequency(session, True):
        fall = deemphasis_db(np.array([hz, given.made_from[1].frequency_hz or 1000.0]))
        figure = replace(given.figure, value=given.figure.value - float(fall[0] - fall[1]))
        yield replace(given, figure=figure)
