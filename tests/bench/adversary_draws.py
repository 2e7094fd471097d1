"""One random capture: a unit, a bench and the faults that were drawn for it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Idle, Stimulus, Tone, TwoTones
from backbench.metrics.declaration import CaptureData
from backbench.signal.track import Track
from bench.adversary_faults import FAULTS
from bench.adversary_scene import Scene, render
from bench.adversary_truth import Truth, truth_of
from bench.adversary_units import (
    draw_curve,
    draw_density,
    harmonics,
    mains_family,
    products,
)

RATES = (44_100.0, 48_000.0, 88_200.0, 96_000.0, 192_000.0)
TONES_HZ = (22.3, 63.7, 315.3, 997.0, 3150.7, 6003.0)
LAST = "something else played"
LOW_TONE_HZ = 800.0
CLEAR_OF_STEPS = 1000.0
KINDS = ("tone", "idle", "two tones")
WEIGHTS = (0.55, 0.25, 0.2)


class Draw(NamedTuple):
    """A capture with the values that its metrics should give. key: "seed:number"."""

    key: str
    kind: str
    faults: tuple[str, ...]
    capture_data: CaptureData
    truth: dict[str, Truth]


def draw(seed: int, number: int, only: tuple[str, ...] = ()) -> Draw:
    """The draw of a seed and a number; `only` names the faults that are drawn from.

    A third of the draws are honest, a third have one fault and a third two.
    """
    rng = np.random.default_rng([seed, number])
    wanted = 1 + number % 2 if only else number % 3
    names = sorted(only or FAULTS)
    first = str(rng.choice(names)) if wanted else None
    kinds = FAULTS[first].kinds if first else KINDS
    weights = np.array([w for k, w in zip(KINDS, WEIGHTS, strict=True) if k in kinds])
    kind = str(rng.choice([k for k in KINDS if k in kinds], p=weights / weights.sum()))
    fitting = [name for name in names if kind in FAULTS[name].kinds and name != first]
    second = [str(rng.choice(fitting))] if wanted == 2 and fitting else []
    faults = tuple(name for name in ([first] if first else []) + second)
    scene = _honest(rng, kind)
    for name in sorted(faults, key=lambda name: (FAULTS[name].late, name == LAST)):
        FAULTS[name].apply(scene)
    return Draw(f"{seed}:{number}", kind, faults, capture_of(scene), truth_of(scene))


def _honest(rng: np.random.Generator, kind: str) -> Scene:
    """A steady unit on a sound bench, stated as it is."""
    rate = float(rng.choice(RATES))
    mains = float(rng.choice([50.0, 60.0]))
    seconds = rng.uniform(0.5, 1.0) * (1.5 if kind == "idle" else 1.0) * (0.6 if rate > 1e5 else 1)
    scene = Scene(
        rng, kind, rate, seconds, full_scale_v=10 ** rng.uniform(0.5, 1.5), lines=[], hum=[],
        noises=[draw_density(rng, float(rng.choice([0.0, 20.0, 200.0])))],
        mains_hz=mains * (1 + rng.uniform(-3e-3, 3e-3)), mains_stated_hz=mains,
        calibration=float(rng.choice([0.0, 0.002, 0.005])),
    )  # fmt: skip
    _DRIVEN[kind](scene)
    _words(scene)
    _some_hum(scene)
    return scene


def _words(scene: Scene) -> None:
    """Float, 24 or dithered 16 bits; 16 only where the unit's noise is well above their steps."""
    scene.bits = {0: None, 1: 24, 2: 24, 3: 16}[int(scene.rng.integers(4))]
    steps = (2 * scene.full_scale_v / 2.0**16) ** 2 / 4 / (scene.rate / 2)
    densities = [noise.density(np.array([5000.0]))[0] for noise in scene.noises]
    if scene.bits == 16 and steps > sum(densities) / CLEAR_OF_STEPS:
        scene.bits = 24


def _some_hum(scene: Scene) -> None:
    """Some, but none beside a low tone, where a record so short doesn't keep the two apart."""
    rng = scene.rng
    if scene.lines and scene.lines[0].hz < LOW_TONE_HZ:
        return
    rms = 10 ** rng.uniform(-6, -3.5)
    scene.hum = mains_family(rng, scene.mains_hz, rms, str(rng.choice(["field", "ripple"])))


def _tone(scene: Scene) -> None:
    rng = scene.rng
    stated = float(rng.choice([hz for hz in TONES_HZ if hz * scene.seconds >= 18]))
    peak = scene.full_scale_v * 10 ** rng.uniform(-1.5, -0.25)
    actual = stated * (1 + rng.uniform(-3e-4, 3e-4))
    curve, phase = draw_curve(rng), rng.uniform(0, 2 * np.pi)
    scene.lines = harmonics(curve, peak, actual, scene.highest_hz, phase)
    scene.statement |= {"tone_hz": stated, "real_load_ohm": 8.0, "load_ohm": 8.0}
    scene.dc_v = float(rng.choice([0.0, 1.0])) * rng.normal(0, 0.01)


def _two_tones(scene: Scene) -> None:
    rng = scene.rng
    equal = rng.random() < 0.5 and scene.rate > 9e4
    stated = (18_000.0, 19_000.0) if equal else (61.0, 7003.0)
    shares = (0.5, 0.5) if equal else (0.8, 0.2)
    peak = scene.full_scale_v * 10 ** rng.uniform(-1.5, -0.4)
    off = 1 + rng.uniform(-1e-4, 1e-4)
    actual = (stated[0] * off, stated[1] * off)
    phases = (rng.uniform(0, 2 * np.pi), rng.uniform(0, 2 * np.pi))
    lines = products(draw_curve(rng), (peak * shares[0], peak * shares[1]), actual,
                     scene.highest_hz, phases)  # fmt: skip
    scene.lines = sorted(lines, key=lambda x: (sum(abs(n) for n in x.order), x.hz))
    scene.statement |= {
        "ratio": shares[0] / shares[1], "low_hz": stated[0], "high_hz": stated[1]
    }  # fmt: skip


_DRIVEN = {"tone": _tone, "idle": lambda scene: None, "two tones": _two_tones}


def capture_of(scene: Scene) -> CaptureData:
    """The capture as the analysis is handed it."""
    volts = render(scene)
    track = Track(volts, scene.rate, scene.full_scale_v, scene.calibration, scene.bits)
    load = scene.statement.get("load_ohm")
    conditions = Conditions(load_ohm=load, power_w=scene.statement.get("power_w"))
    return CaptureData(
        _stimulus(scene), conditions, {1: track}, mains_hz=scene.mains_stated_hz,
        load_uncertainty=0.0,
    )  # fmt: skip


def _stimulus(scene: Scene) -> Stimulus:
    given = scene.statement
    if scene.kind == "tone":
        return Tone(tone_hz=given["tone_hz"], generator_vrms="unknown")
    if scene.kind == "two tones":
        pair = [given["low_hz"], given["high_hz"]]
        return TwoTones(tones_hz=pair, ratio=given["ratio"], generator_vrms="unknown")
    return Idle(idle="shorted")
