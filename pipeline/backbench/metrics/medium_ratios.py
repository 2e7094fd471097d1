"""Rumble, noise and erasure re a played tone, and azimuth, across the captures of a review."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from backbench.metrics import least_asked
from backbench.metrics.declaration import Bound, MeasuredValue, derived
from backbench.metrics.reading_ratios import is_near, ratio_in_db
from backbench.metrics.session import (
    Derived,
    DerivedResult,
    Reading,
    RefusedDerivation,
    Session,
    grouped,
)
from backbench.metrics.session_spreads import AZIMUTH_DELAY
from backbench.metrics.traits import OF_A_SILENT_MEDIUM, Traits
from backbench.quantities.writing import in_text

FAMILY = "Tape and disc playback"

SAME = ("unit_key", "output", "input", "volume", "controls", "tap")
RECORDED = "recorded"
SAME_HZ = 0.06
"""How far stated frequencies of one tone may differ, relative: 315 Hz and 333 Hz stand for one
another."""
REFERENCES_HZ = (315.0, 1000.0)
_GIVEN = "a silent groove or erased tape, and a tone of stated recorded level at the same settings"
_DISC = (
    "in dB re a played tone whose peak velocity is stated, at the same settings "
    "(detail tells which)"
)


def _below(session: Session, name: str, medium: str) -> Iterator[DerivedResult]:
    """Each reading of a voltage in dB re each reference tone of a medium at the same settings."""
    for noise in session.of(name):
        tones = _references(session, noise)
        if not tones:
            yield RefusedDerivation(
                "no played tone of a stated recorded level at the same settings", noise, (noise,)
            )
        for tone in tones:
            if medium in tone.detail[RECORDED]:
                yield _ratio(noise, tone, {RECORDED: _words(tone)})


def _references(session: Session, like: Reading) -> list[Reading]:
    same = {name: getattr(like, name) for name in SAME}
    tones = session.of("played_level", driven=None, **same)
    return [tone for tone in tones if RECORDED in tone.detail]


def _words(tone: Reading) -> str:
    return f"{tone.detail[RECORDED]} at {in_text(tone.frequency_hz or 0.0, 'Hz', 4)}"


def _ratio(small: Reading, tone: Reading, detail: dict[str, str]) -> Derived:
    """A voltage over that of a tone, in dB."""
    figure = replace(ratio_in_db(small, tone), bound=small.bound, detail=detail)
    return Derived(figure, small, (small, tone))


@derived(
    "rumble",
    title="Rumble, unweighted",
    unit="dB",
    better="lower",
    source="DIN 45539, IEC 60098 (from memory)",
    version=1,
    choice=_DISC,
    traits=Traits(
        compared_at=OF_A_SILENT_MEDIUM, position=214, only_with="transport",
        asked=least_asked.RUMBLE,
        of_medium="disc",
        usual_stimulus="silent medium", given_by=_GIVEN,
    ),
)  # fmt: skip
def rumble(session: Session) -> Iterator[DerivedResult]:
    """Unweighted rumble of a silent groove re a tone of stated velocity."""
    yield from _below(session, "rumble_voltage", "cm/s")


@derived(
    "rumble_weighted",
    title="Rumble, weighted",
    unit="dB",
    better="lower",
    source="DIN 45539, IEC 60098 (from memory)",
    version=1,
    choice=_DISC,
    traits=Traits(
        compared_at=OF_A_SILENT_MEDIUM, position=215, only_with="transport",
        asked=least_asked.WEIGHTED_RUMBLE,
        of_medium="disc",
        usual_stimulus="silent medium", given_by=_GIVEN,
    ),
)  # fmt: skip
def rumble_weighted(session: Session) -> Iterator[DerivedResult]:
    """Weighted rumble of a silent groove re a tone of stated velocity."""
    yield from _below(session, "rumble_voltage_weighted", "cm/s")


def _above(session: Session, name: str) -> Iterator[DerivedResult]:
    """A tape's reference tone over its noise, in dB."""
    for given in _below(session, name, "nWb/m"):
        yield _turned(given) if isinstance(given, Derived) else given


def _turned(given: Derived) -> Derived:
    """The ratio the other way up: what was at most is at least."""
    figure = given.figure
    bound: Bound | None = "lower" if figure.bound == "upper" else None
    return replace(given, figure=replace(figure, value=-figure.value, bound=bound))


@derived(
    "medium_snr",
    title="SNR of a tape",
    unit="dB",
    better="higher",
    source="IEC 60094 (reference level over noise; from memory)",
    version=1,
    choice="a played tone whose flux is stated over the noise of a tape without a signal at the "
    "same settings, unweighted, 20 Hz to 20 kHz (detail tells the flux)",
    traits=Traits(
        compared_at=OF_A_SILENT_MEDIUM, position=217, only_with="transport",
        of_medium="tape",
        usual_stimulus="silent medium", given_by=_GIVEN, on_request=True,
    ),
)  # fmt: skip
def medium_snr(session: Session) -> Iterator[DerivedResult]:
    """The reference level of a tape over its noise."""
    yield from _above(session, "medium_noise")


@derived(
    "medium_snr_a",
    title="SNR of a tape, A-weighted",
    unit="dB",
    better="higher",
    source="IEC 60094 (reference level over noise; from memory)",
    version=1,
    choice="a played tone whose flux is stated over the A-weighted noise of a tape without a "
    "signal at the same settings, 20 Hz to 20 kHz (detail tells the flux)",
    traits=Traits(
        compared_at=OF_A_SILENT_MEDIUM, position=216, only_with="transport",
        listening="noise below reference",
        of_medium="tape",
        usual_stimulus="silent medium", given_by=_GIVEN,
    ),
)  # fmt: skip
def medium_snr_a(session: Session) -> Iterator[DerivedResult]:
    """The reference level of a tape over its A-weighted noise."""
    yield from _above(session, "medium_noise_a")


@derived(
    "erasure",
    title="Erasure",
    unit="dB",
    better="higher",
    source="IEC 60094 (erasure; from memory)",
    version=1,
    choice="the played tone before it was erased over what is left of it, at the same settings",
    traits=Traits(
        usual_stimulus="erased tone",
        given_by="a recorded tone, and the same stretch of tape after it was erased",
    ),
)
def erasure(session: Session) -> Iterator[DerivedResult]:
    """How far erasing takes a recorded tone down."""
    for left in session.of("erased_residual"):
        same = {name: getattr(left, name) for name in SAME}
        tones = [
            tone for tone in session.of("played_level", **same)
            if _near(tone, left.frequency_hz or 1.0)
        ]  # fmt: skip
        if not tones:
            yield RefusedDerivation(
                "no capture of the tone before it was erased, at the same settings", left, (left,)
            )
            continue
        loudest = max(tones, key=lambda tone: tone.value or 0.0)
        yield _turned(_ratio(left, loudest, {}))


@derived(
    "played_spot_response",
    title="Response by played tones",
    unit="dB",
    better="nearer zero",
    source="common practice, no source",
    version=1,
    choice="level re that at 315 Hz, or at 1 kHz where there is no such tone, of tones of one "
    "recorded level as stated; the recording's own response is part of it",
    traits=Traits(
        usual_stimulus="played tone", has_sign=True,
        given_by="tones of several frequencies, recorded at one level",
    ),
)  # fmt: skip
def played_spot_response(session: Session) -> Iterator[Derived]:
    """Level of a played tone re that of the reference frequency."""
    tones = session.of("played_level", driven=None)
    alike = grouped(
        (tone for tone in tones if tone.frequency_hz),
        lambda tone: (*(getattr(tone, name) for name in SAME), tone.detail.get(RECORDED)),
    )
    for own in alike.values():
        reference = next((tone for hz in REFERENCES_HZ for tone in own if _near(tone, hz)), None)
        for tone in own if reference else []:
            if reference and not _near(tone, reference.frequency_hz or 1.0):
                found = _ratio(tone, reference, tone.detail)
                yield replace(found, figure=replace(found.figure, frequency_hz=tone.frequency_hz))


def _near(tone: Reading, hz: float) -> bool:
    return is_near(tone, hz, SAME_HZ)


@derived(
    "azimuth_delay",
    title="Delay between channels (azimuth)",
    unit="s",
    better="nearer zero",
    source="common practice, no source",
    version=1,
    choice="slope of the phase between the channels against frequency, through zero, over at least "
    "two played tones; each whole turn by the delay of the tones below it; by the frequencies "
    "recorded, so that it is the delay at the right speed",
    traits=Traits(
        usual_stimulus="played tone", has_sign=True, session_spread=AZIMUTH_DELAY,
        given_by="two played tones or more of different frequency",
    ),
)  # fmt: skip
def azimuth_delay(session: Session) -> Iterator[DerivedResult]:
    """Delay of a channel behind the first as the slope of their phase."""
    lags = [lag for lag in session.of("channel_lag") if lag.frequency_hz]
    for own in grouped(lags, lambda lag: tuple(getattr(lag, name) for name in SAME)).values():
        by_hz = {lag.frequency_hz: lag for lag in own}
        taken = [by_hz[hz] for hz in sorted(by_hz, key=lambda hz: hz or 0.0)]
        if len(taken) < 2:
            yield RefusedDerivation(
                "one tone tells a delay but for whole turns of its phase; record another frequency",
                taken[0], tuple(taken),
            )  # fmt: skip
            continue
        yield Derived(_slope(taken), taken[-1], tuple(taken))


def _slope(taken: list[Reading]) -> MeasuredValue:
    """Delay in s by least squares through zero, weighted by each phase's uncertainty."""
    hz = np.array([lag.frequency_hz or 1.0 for lag in taken])
    u = np.array([max(lag.uncertainty or 0.0, 0.01) for lag in taken]) / 360
    turns = np.array([(lag.value or 0.0) / 360 for lag in taken])
    for n in range(1, len(turns)):
        weights = np.square(hz[:n] / u[:n])
        below = float((turns[:n] / hz[:n] * weights).sum() / weights.sum())
        turns[n] += round(below * hz[n] - turns[n])
    weights = np.square(1 / u)
    slope = float((weights * hz * turns).sum() / (weights * hz**2).sum())
    apart = float((weights * np.square(turns - slope * hz)).sum() / (len(turns) - 1))
    own = math.sqrt(max(apart, 1.0) / float((weights * hz**2).sum()))
    return MeasuredValue(slope, own, own, len(turns) - 1)
