"""Honest sessions of several captures: loop-backs, two loads, rising levels; and what they give."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from backbench.bench_day.amplifier_steps import SHARES
from backbench.metrics.declaration import CaptureData
from backbench.metrics.measurement import Finding, measure
from backbench.metrics.power_limit import LIMITS_PERCENT
from backbench.metrics.registry import registry
from backbench.metrics.session import Derived, Reading, Session
from bench.adversary_scene import Scene
from bench.adversary_truth import Truth, spanning, tone_truth
from bench.adversary_units import Array, Line, Noise, draw_curve
from bench_readings import reading

LOAD_OHM = 8.0
GRID = 400
ANGLE = 2 * np.pi * np.arange(1024) / 1024
MOST_BENT = 0.01
HIGHEST_ORDER = 20
"""Of a tone at 997 Hz up to 20 kHz."""
STEEP = 2.0
"""Exponent of the power from which distortion turns up (the definition of clipping onset)."""
NEEDED = ("level", "output_power", "gain", "thd", "thd_wide")


@dataclass
class Several:
    """The scenes of a session. truth: from the scenes as they are once faults are in them.

    derive: names of metrics across captures; none where the first capture is measured alone.
    stated: what the manifest says of each capture beside its stimulus.
    """

    scenes: list[Scene]
    truth: Callable[[list[Scene]], dict[str, Truth]]
    derive: tuple[str, ...] = ()
    stated: list[dict[str, float | None]] = field(default_factory=list)


class Taken(NamedTuple):
    """The captures of a session and what is worked out from them."""

    captures: list[CaptureData]
    derive: tuple[str, ...]
    stated: list[dict[str, float | None]]


# A tone beside loop-backs of the bench.


def looped_tone(rng: np.random.Generator, tone: Callable[[], Scene]) -> Several:
    """The bench has distortion that grows with level, and noise; loop-backs tell of both."""
    unit = tone()
    level, hz = unit.lines[0].peak, unit.lines[0].hz
    own = {n: 10 ** rng.uniform(-6, -3.5) for n in (2, 3, 4, 5)}
    turns = {n: rng.uniform(0, 2 * np.pi) for n in own}
    grows = bool(rng.random() < 0.7)
    density = 10 ** rng.uniform(-15, -12)
    noise = Noise(lambda f: np.full(np.shape(f), density))

    def lines(at: float) -> list[Line]:
        growth = at / level if grows else 1.0
        return [
            Line(n * hz, at * h * growth ** (n - 1), turns[n], (n,))
            for n, h in own.items()
            if n * hz < unit.highest_hz
        ]

    unit.bench_lines = lines(level)
    unit.added.append(lambda t, r: noise.volts(r, unit.rate, len(t)))
    backs = [_loop_back(unit, at, lines(at), noise) for at in _levels(rng, level, unit)]
    return Several([unit, *backs], lambda scenes: tone_truth(scenes[0]))


def _levels(rng: np.random.Generator, level: float, unit: Scene) -> list[float]:
    """One to three levels of loop-backs, one of them mostly at the unit's."""
    near = level * 10 ** (rng.uniform(-0.3, 0.3) / 20)
    others = level * 10 ** (rng.uniform(-20, 20, int(rng.integers(0, 3))) / 20)
    result = [near] if rng.random() < 0.6 or not len(others) else []
    return [min(float(v), 0.7 * unit.full_scale_v) for v in [*result, *others]]


def _loop_back(unit: Scene, at: float, lines: list[Line], noise: Noise) -> Scene:
    first = replace(unit.lines[0], peak=at)
    return replace(
        unit, lines=[first, *lines], hum=[], noises=[noise], dc_v=0.0, bench_lines=[], added=[],
        envelope=[], bent_time=[], maybe=[], sidebands=[], modulation=[], spoilt=[],
        statement=dict(unit.statement), span=(1.0, 1.0),
    )  # fmt: skip


def with_bench(captures: list[CaptureData]) -> CaptureData:
    """The first capture with the others as the bench's own."""
    return replace(captures[0], bench=captures[1], bench_levels=tuple(captures[2:]))


# Two loads.


def two_loads(rng: np.random.Generator, tone: Callable[[], Scene]) -> Several:
    """An output with a resistance and perhaps a reactance, open or with 16 ohm, and with 8 ohm."""
    unit = _gentle(tone)
    source = complex(10 ** rng.uniform(-2, 0.6), rng.choice([0.0, 0.0, 10 ** rng.uniform(-2, 0.6)]))
    light = float(rng.choice([math.inf, 16.0]))
    volts = [abs(1 / (1 + source / ohm)) for ohm in (light, LOAD_OHM)]
    scenes = [_scaled(unit, share) for share in volts]
    for scene in scenes:
        scene.statement |= {"generator": 0.5}
    scenes[0].statement["load_ohm"] = light
    wrong = float(rng.normal()) * unit.calibration
    for scene in scenes:
        scene.calibration_error = wrong
    stated = [
        {"load_ohm": None if math.isinf(ohm) else ohm, "generator_vrms": 0.5}
        for ohm in (light, LOAD_OHM)
    ]
    metrics = ("regulation_resistance", "source_impedance", "damping_factor")
    return Several(
        scenes, lambda result: _impedance_truth(source, light, volts, result), metrics, stated
    )


def _gentle(tone: Callable[[], Scene]) -> Scene:
    """A unit that isn't driven into a limit, where no impedance is meant."""
    while True:
        result = tone()
        if sum(x.peak for x in result.lines[1:]) < MOST_BENT * result.lines[0].peak:
            return result


def _scaled(unit: Scene, share: float) -> Scene:
    """The same unit at another level, with fresh lists for faults."""
    lines = [replace(x, peak=x.peak * share) for x in unit.lines]
    return replace(
        unit, lines=lines, hum=list(unit.hum), noises=list(unit.noises), envelope=[],
        bent_time=[], added=[], maybe=[], sidebands=[], modulation=[], spoilt=[], hum_gain=[],
        hum_bend=[], statement=dict(unit.statement),
    )  # fmt: skip


def _impedance_truth(
    source: complex, light: float, volts: list[float], scenes: list[Scene]
) -> dict[str, Truth]:
    """Exact; where a level changed within a capture, whatever its levels allow."""
    result = []
    for a in scenes[0].span:
        for b in scenes[1].span:
            first, last = volts[0] * a, volts[1] * b
            result.append((first - last) / (last / LOAD_OHM - first / light))
    steady = all(scene.span == (1.0, 1.0) for scene in scenes)
    truth = {"regulation_resistance": spanning(*result)}
    if steady:
        truth |= {
            "source_impedance": spanning(abs(source)),
            "damping_factor": spanning(LOAD_OHM / abs(source)),
        }
    return truth


# Rising levels.

Amplifier = Callable[[float], Array]
"""Peak of each line, V, from order 0, for a drive re that of the rated power."""


def draw_amplifier(rng: np.random.Generator, rated_v: float) -> Amplifier:
    """A random curve into a limit from soft to hard, at 75 to 135 % of the rated peak."""
    curve, sharp, rail = draw_curve(rng), 10 ** rng.uniform(0.4, 2.0), rng.uniform(0.75, 1.35)

    def lines(drive: float) -> Array:
        u = drive * curve(np.cos(ANGLE)) / rail
        low, high = np.minimum(np.abs(u), 1), np.maximum(np.abs(u), 1)
        shaped = np.where(np.abs(u) < 1, low / (1 + low**sharp) ** (1 / sharp),
                          (1 + high**-sharp) ** (-1 / sharp))  # fmt: skip
        result: Array = np.fft.rfft(rated_v * rail * np.sign(u) * shaped) * 2 / len(ANGLE)
        return result

    return lines


def rising_levels(rng: np.random.Generator, tone: Callable[[], Scene]) -> Several:
    """The plan's levels of an amplifier whose distortion rises through limits."""
    unit, rated_w = tone(), float(10 ** rng.uniform(0.5, 1.7))
    rated_v = math.sqrt(2 * rated_w * LOAD_OHM)
    amplifier = draw_amplifier(rng, rated_v)
    drives = [math.sqrt(share) for share in SHARES]
    hz, turn = 997.0, rng.uniform(0, 2 * np.pi)
    scenes = [_at_drive(unit, amplifier(drive), hz, turn) for drive in drives]
    stated = [{"load_ohm": LOAD_OHM, "generator_vrms": drive} for drive in drives]
    for scene, drive in zip(scenes, drives, strict=True):
        scene.full_scale_v = 3 * rated_v
        scene.statement |= {"tone_hz": hz, "generator": drive}
    metrics = ("power_at_limit", "input_at_limit", "clipping_onset", "sensitivity")
    return Several(scenes, lambda result: _levels_truth(amplifier, drives, result), metrics, stated)


def _at_drive(unit: Scene, result: Array, hz: float, turn: float) -> Scene:
    peaks = np.abs(result)
    lines = [
        Line(n * hz, float(peaks[n]), float(np.angle(result[n])) + n * turn, (n,), n == 1)
        for n in range(1, min(int(unit.highest_hz / hz), 60))
        if peaks[n] > 1e-8 * peaks[1]
    ]
    return replace(_scaled(unit, 1.0), lines=lines, dc_v=0.0, seconds=0.35, calibration=0.0)


def _levels_truth(
    amplifier: Amplifier, drives: list[float], scenes: list[Scene]
) -> dict[str, Truth]:
    """By a fine grid of drives. Empty where a unit's level changed within a capture."""
    if any(scene.span != (1.0, 1.0) or scene.product_span != (1.0, 1.0) for scene in scenes):
        return {}
    grid = np.geomspace(drives[0], drives[-1], GRID)
    peaks = np.abs(np.array([amplifier(drive) for drive in grid]))
    watts = peaks[:, 1] ** 2 / 2 / LOAD_OHM
    percent = 100 * np.sqrt((peaks[:, 2 : HIGHEST_ORDER + 1] ** 2).sum(axis=1)) / peaks[:, 1]
    truth = _onset(watts, percent)
    for limit in LIMITS_PERCENT:
        rises = np.flatnonzero((percent[:-1] < limit) & (percent[1:] >= limit))
        if len(rises):
            pair = slice(rises[-1], rises[-1] + 2)
            truth[f"power_at_limit at {limit:g} %"] = spanning(*watts[pair])
            truth[f"input_at_limit at {limit:g} %"] = spanning(*grid[pair])
        elif percent[-1] < limit:
            truth[f"power_at_limit at {limit:g} %"] = Truth(float(watts[-1]), math.inf)
            truth[f"input_at_limit at {limit:g} %"] = Truth(float(grid[-1]), math.inf)
    if watts[0] < 1 < watts[-1]:
        drive = np.exp(np.interp(0.0, np.log(watts), np.log(grid)))
        truth["sensitivity 1 W"] = spanning(float(drive))
    return truth


def _onset(watts: Array, percent: Array) -> dict[str, Truth]:
    """Where distortion last begins to rise faster than the square of the power."""
    steep = np.diff(np.log(np.maximum(percent, 1e-9))) / np.diff(np.log(watts)) > STEEP
    if not steep.any():
        return {"clipping_onset": Truth(float(watts[-1]), math.inf)}
    first = int(np.flatnonzero(steep)[-1])
    while first > 0 and steep[first - 1]:
        first -= 1
    return {"clipping_onset": spanning(*watts[first : first + 2])} if first else {}


# What is measured of a session.


def session_findings(taken: Taken) -> Iterator[Finding]:
    """Figures across captures as findings of one track."""
    known = registry().metrics
    readings = [
        one
        for n, (capture, stated) in enumerate(zip(taken.captures, taken.stated, strict=True))
        for one in _readings(measure(capture)[0], stated, str(n))
    ]
    for name in taken.derive:
        derive = known[name].derive
        assert derive is not None
        for given in derive(Session(readings)):
            if isinstance(given, Derived):
                status = "at_floor" if given.figure.bound else "measured"
                yield Finding(known[name], 1, status, given.figure, given.figure.remark)
            else:
                yield Finding(known[name], 1, "rejected", None, given.reason)


def _readings(
    findings: list[Finding], stated: dict[str, float | None], key: str
) -> Iterator[Reading]:
    watts = [f.figure.value for f in findings if f.metric.name == "output_power" and f.figure]
    for finding in findings:
        figure = finding.figure
        if figure is None or finding.metric.name not in NEEDED or not figure.value:
            continue
        size = abs(figure.value)
        yield reading(
            finding.metric.name, figure.value, figure.uncertainty / size, figure.estimation / size,
            analysis_key=key, power_w=watts[0] if watts else None, bound=figure.bound,
            dof=figure.dof, detail=figure.detail, frequency_hz=997.0, load_uncertainty=0.0,
            **stated,
        )  # fmt: skip


SESSIONS: dict[str, Callable[[np.random.Generator, Callable[[], Scene]], Several]] = {
    "looped tone": looped_tone, "two loads": two_loads, "levels": rising_levels,
}  # fmt: skip
