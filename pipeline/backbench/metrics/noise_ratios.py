"""Residual noise referred to levels and to the input, across the captures of a review."""

from __future__ import annotations

import math
from collections.abc import Iterator

from backbench.metrics.declaration import MeasuredValue, derived
from backbench.metrics.reading_ratios import is_near
from backbench.metrics.session import (
    Derived,
    Reading,
    Session,
    cleanest,
    limited,
    relative_estimation,
    relative_uncertainty,
)
from backbench.metrics.traits import AT_IDLE, Traits
from backbench.signal.uncertainty import DB_PER_RELATIVE, Contribution, combine, correlated

FAMILY = "Noise and hum"

WEIGHTINGS = {"noise": "none", "noise_a": "A"}
_SOURCE = "IEC 60268-3 (signal-to-noise ratio; from memory)"
_CHOICE = (
    "idle noise, 20 Hz to 20 kHz, A-weighted and unweighted (detail tells which), against the "
    "voltage of that power in the load of the idle capture"
)
SAME_GAIN = ("unit_key", "output", "input", "volume", "controls", "tap")
SENSITIVITY_V = 2.83


def _referred(session: Session, watts: dict[str, float] | float) -> Iterator[Derived]:
    """Ratio of the voltage of a power, the same or by unit, to each idle noise."""
    for noise, weighting in _noises(session):
        power = watts if isinstance(watts, float) else watts.get(noise.unit_key)
        if power is None or not noise.load_ohm:
            continue
        volts = math.sqrt(power * noise.load_ohm)
        load = DB_PER_RELATIVE / 2 * (noise.load_uncertainty or 0.0)
        yield _ratio(noise, weighting, volts, load)


def _noises(session: Session) -> Iterator[tuple[Reading, str]]:
    for metric, weighting in WEIGHTINGS.items():
        for noise in session.of(metric, stimulus="idle"):
            if noise.value:
                yield noise, weighting


def _ratio(noise: Reading, weighting: str, volts: float, load_db: float) -> Derived:
    assert noise.value is not None
    own, whole = (
        DB_PER_RELATIVE * (u or 0.0) / noise.value for u in (noise.estimation, noise.uncertainty)
    )
    total = combine([Contribution(whole, noise.dof or math.inf), Contribution(load_db)])
    value = 20 * math.log10(volts / noise.value)
    figure = MeasuredValue(
        value, total.u, own, total.dof, "lower" if noise.bound else None,
        detail={"weighting": weighting},
    )  # fmt: skip
    return Derived(figure, noise, (noise,))


@derived(
    "snr_1w",
    title="SNR re 1 W",
    unit="dB",
    better="higher",
    source=_SOURCE,
    version=1,
    choice=_CHOICE,
    traits=Traits(
        compared_at=AT_IDLE,
        position=40,
        loudspeaker_only=True,
        bench_gain="decibels",
        bench_noise="ratio to 1 W",
        usual_stimulus="idle",
    ),
)
def snr_1w(session: Session) -> Iterator[Derived]:
    """The voltage of 1 W in the load over the idle noise."""
    yield from _referred(session, 1.0)


@derived(
    "snr_rated",
    title="SNR re rated power",
    unit="dB",
    better="higher",
    source=_SOURCE,
    version=1,
    choice=_CHOICE,
    traits=Traits(usual_stimulus="idle"),
)
def snr_rated(session: Session) -> Iterator[Derived]:
    """The voltage of the unit's rated power in the load over the idle noise."""
    yield from _referred(session, dict(session.rated_power_w))


@derived(
    "snr_2v83",
    title="SNR re 2.83 V",
    unit="dB",
    better="higher",
    source="common practice, no source: 2.83 V is 1 W in 8 Ω",
    version=1,
    choice="idle noise, 20 Hz to 20 kHz, A-weighted and unweighted (detail tells which), against "
    "2.83 V whatever the load",
    traits=Traits(usual_stimulus="idle"),
)
def snr_2v83(session: Session) -> Iterator[Derived]:
    """2.83 V over the idle noise."""
    for noise, weighting in _noises(session):
        yield _ratio(noise, weighting, SENSITIVITY_V, 0.0)


@derived(
    "input_referred_noise",
    title="Input-referred noise",
    unit="V",
    better="lower",
    source="common practice, no source: idle noise over gain",
    version=2,
    choice="over the 1 kHz gain at the same output, input, volume setting, controls and load, "
    "both stated alike; A-weighted and unweighted (detail tells which)",
    traits=Traits(compared_at=AT_IDLE, position=30, on_request=True, usual_stimulus="idle"),
)
def input_referred_noise(session: Session) -> Iterator[Derived]:
    """Idle noise at the output divided by the voltage gain at 1 kHz."""
    yield from noise_at_input(session)


def noise_at_input(session: Session) -> Iterator[Derived]:
    """Each idle noise over the gain that is known best at its settings, V."""
    for noise, weighting in _noises(session):
        gains = [g for g in _gains(session, noise) if not limited(session, g)]
        if not gains:
            continue
        taken = cleanest(session, [((g,), g.uncertainty or 0.0) for g in gains])
        yield _at_input(noise, gains[taken], weighting)


def _gains(session: Session, noise: Reading) -> list[Reading]:
    load = {"load_kind": noise.load_kind, "load_ohm": noise.load_ohm}
    same = {name: getattr(noise, name) for name in SAME_GAIN}
    gains = session.of("gain", stimulus="tone", driven=None, **same, **load)
    return [g for g in gains if g.bound is None and is_near(g, 1000.0)]


def _at_input(noise: Reading, gain: Reading, weighting: str) -> Derived:
    """Where both rest on one calibration of the output, that part of them cancels."""
    value = (noise.value or 0.0) / 10 ** ((gain.value or 0.0) / 20)
    of_noise, of_gain = relative_uncertainty(noise), (gain.uncertainty or 0.0) / DB_PER_RELATIVE
    shared = math.sqrt(max(of_noise**2 - relative_estimation(noise) ** 2, 0.0))
    r = {}
    if noise.calibration_key == gain.calibration_key and of_noise > 0 and of_gain > 0:
        r = {(0, 1): min(shared, of_gain) ** 2 / (of_noise * of_gain)}
    whole = value * correlated([of_noise, -of_gain], r)
    own = value * math.hypot(relative_estimation(noise), (gain.estimation or 0.0) / DB_PER_RELATIVE)
    figure = MeasuredValue(value, whole, own, bound=noise.bound, detail={"weighting": weighting})
    return Derived(figure, noise, (noise, gain))
