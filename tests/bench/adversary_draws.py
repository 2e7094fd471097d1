"""One random capture: a unit, a bench and the faults that were drawn for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import (
    Burst,
    Idle,
    Multitone,
    SquareWave,
    Stimulus,
    Sweep,
    Tone,
    TwoTones,
)
from backbench.metrics.declaration import CaptureData
from backbench.metrics.measurement import Finding, measure
from backbench.signal.track import Track
from bench.adversary_bench_faults import FAULTS
from bench.adversary_recorder_faults import FIRST_SEED, LATER
from bench.adversary_scene import Scene, render
from bench.adversary_sessions import SESSIONS, Several, Taken, session_findings, with_bench
from bench.adversary_truth import Truth, idle_truth, of_nothing, pair_truth, tone_truth
from bench.adversary_units import (
    draw_curve,
    draw_density,
    harmonics,
    mains_family,
    products,
)
from bench.adversary_waves import (
    EVERY_S,
    ON_S,
    SWEPT_HZ,
    burst,
    burst_truth,
    many_tones,
    multitone_truth,
    sent_sweep,
    square_truth,
    square_wave,
    sweep,
    sweep_truth,
)

RATES = (44_100.0, 48_000.0, 88_200.0, 96_000.0, 192_000.0)
TONES_HZ = (22.3, 63.7, 315.3, 997.0, 3150.7, 6003.0)
LAST = "something else played"
SESSION_SEED = 4010
"""From it on most records of idle noise stand in a session that holds a tone, too."""
WITH_TONE, SAME_HEADER = 0.75, 0.8
"""Shares of those sessions, and of those whose files state one rate, rightly or wrongly."""
FIT_RATES = {
    "multitone": (48_000.0, 96_000.0), "square": (96_000.0, 192_000.0),
    "burst": (48_000.0, 96_000.0), "sweep": (48_000.0, 96_000.0),
}  # fmt: skip
LENGTHS = {"idle": 1.5, "square": 1.0, "burst": 2.5, "sweep": 2.5}
"""Times the length of a tone; twice as long or so as the measurement needs."""
LOW_TONE_HZ = 800.0
CLEAR_OF_STEPS = 1000.0
WEIGHTS = {
    "tone": 0.35, "idle": 0.15, "two tones": 0.12, "multitone": 0.07, "square": 0.06, "burst": 0.05,
    "sweep": 0.06, "looped tone": 0.08, "two loads": 0.04, "levels": 0.02,
}  # fmt: skip


class Draw(NamedTuple):
    """A capture or several with the values that their metrics should give. key: "seed:number"."""

    key: str
    kind: str
    faults: tuple[str, ...]
    taken: Taken
    truth: dict[str, Truth]

    def findings(self) -> list[Finding]:
        """What is measured, of one capture or across several."""
        if self.taken.derive:
            return list(session_findings(self.taken))
        return [f for f in measure(self.taken.captures[0])[0] if f.track == 1]


def draw(seed: int, number: int, only: tuple[str, ...] = ()) -> Draw:
    """The draw of a seed and a number; `only` names the faults that are drawn from.

    A third of the draws are honest, a third have one fault and a third two.
    """
    rng = np.random.default_rng([seed, number])
    wanted = 1 + number % 2 if only else number % 3
    known = [name for name in FAULTS if seed >= FIRST_SEED or name not in LATER]
    names = sorted(only or known)
    first = str(rng.choice(names)) if wanted else None
    kinds = FAULTS[first].kinds if first else tuple(WEIGHTS)
    weights = np.array([WEIGHTS[k] for k in kinds])
    kind = str(rng.choice(kinds, p=weights / weights.sum()))
    fitting = [name for name in names if kind in FAULTS[name].kinds and name != first]
    second = [str(rng.choice(fitting))] if wanted == 2 and fitting else []
    faults = tuple(name for name in ([first] if first else []) + second)
    made = _made(rng, kind)
    spoilt = made.scenes[int(rng.integers(len(made.scenes)))]
    for name in sorted(faults, key=lambda name: (FAULTS[name].late, name == LAST)):
        FAULTS[name].apply(spoilt)
    beside = kind == "idle" and seed >= SESSION_SEED and rng.random() < WITH_TONE
    tone = _tone_beside(rng, made.scenes[0]) if beside else None
    return Draw(f"{seed}:{number}", kind, faults, _taken(made, tone), _truth(made))


def _tone_beside(rng: np.random.Generator, idle: Scene) -> Scene:
    """A tone that the same recorder took at the same rate."""
    result = _honest(rng, "tone")
    while result.rate != idle.rate:
        result = _honest(rng, "tone")
    result.header_rate = idle.header_rate if rng.random() < SAME_HEADER else None
    return result


def _made(rng: np.random.Generator, kind: str) -> Several:
    if kind in SESSIONS:
        return SESSIONS[kind](rng, lambda: _honest(rng, "tone"))
    scene = _honest(rng, kind)
    return Several([scene], lambda scenes: TRUTHS[kind](scenes[0]))


def _truth(made: Several) -> dict[str, Truth]:
    """Of a draw's metrics, by name; NOTHING where no value is right."""
    if made.scenes[0].nothing_right and not made.derive:
        return of_nothing(made.scenes[0].kind)
    return made.truth(made.scenes)


def _taken(made: Several, tone: Scene | None = None) -> Taken:
    """tone: recorded in the same session; None where there is none."""
    captures = [capture_of(scene) for scene in made.scenes]
    if tone is not None:
        captures = [replace(captures[0], witness=capture_of(tone))]
    if not made.derive and len(captures) > 1:
        captures = [with_bench(captures)]
    return Taken(captures, made.derive, made.stated)


def _honest(rng: np.random.Generator, kind: str) -> Scene:
    """A steady unit on a sound bench, stated as it is."""
    rate = float(rng.choice([r for r in RATES if r in FIT_RATES.get(kind, RATES)]))
    mains = float(rng.choice([50.0, 60.0]))
    seconds = rng.uniform(0.5, 1.0) * LENGTHS.get(kind, 1.0) * (0.6 if rate > 1e5 else 1)
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
    if scene.kind in ("tone", "two tones") and scene.lines[0].hz < LOW_TONE_HZ:
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


_DRIVEN: dict[str, Callable[[Scene], None]] = {
    "tone": _tone, "idle": lambda scene: None, "two tones": _two_tones, "multitone": many_tones,
    "square": square_wave, "burst": burst, "sweep": sweep,
}  # fmt: skip
TRUTHS: dict[str, Callable[[Scene], dict[str, Truth]]] = {
    "tone": tone_truth, "idle": idle_truth, "two tones": pair_truth, "multitone": multitone_truth,
    "square": square_truth, "burst": burst_truth, "sweep": sweep_truth,
}  # fmt: skip


def capture_of(scene: Scene) -> CaptureData:
    """The capture as the analysis is handed it."""
    volts = render(scene)
    rate = scene.header_rate or scene.rate
    track = Track(volts, rate, scene.full_scale_v, scene.calibration, scene.bits)
    load: float | str | None = scene.statement.get("load_ohm")
    conditions = Conditions(
        load_ohm="open" if load == np.inf else load, power_w=scene.statement.get("power_w")
    )
    sent = sent_sweep(scene).volts if scene.kind == "sweep" else None
    return CaptureData(
        _stimulus(scene), conditions, {1: track}, mains_hz=scene.mains_stated_hz,
        reference=None if sent is None else Track(sent, scene.rate, 2.0, 0.0),
        load_uncertainty=0.0,
    )  # fmt: skip


def _stimulus(scene: Scene) -> Stimulus:
    return _STIMULI[scene.kind](scene.statement)


def _pair_stated(given: dict[str, float]) -> Stimulus:
    pair = [given["low_hz"], given["high_hz"]]
    return TwoTones(tones_hz=pair, ratio=given["ratio"], generator_vrms="unknown")


def _tones_stated(given: dict[str, float]) -> Stimulus:
    hz = [value for name, value in given.items() if name.startswith("tone ")]
    return Multitone(multitone_hz=hz, generator_vrms="unknown")


_STIMULI: dict[str, Callable[[dict[str, float]], Stimulus]] = {
    "tone": lambda given: Tone(
        tone_hz=given["tone_hz"], generator_vrms=given.get("generator", "unknown")
    ),
    "two tones": _pair_stated,
    "multitone": _tones_stated,
    "idle": lambda given: Idle(idle="shorted"),
    "square": lambda given: SquareWave(
        square_hz=given["square_hz"], generator_vpp="unknown", rise_time_s=1e-8
    ),
    "burst": lambda given: Burst(
        burst_hz=given["burst_hz"], on_ms=1e3 * ON_S, period_ms=1e3 * EVERY_S,
        generator_vrms="unknown",
    ),
    "sweep": lambda given: Sweep(
        sweep_hz=list(SWEPT_HZ), sweep_s=given["sweep_s"], generator_vrms="unknown",
        reference_file="sweep.wav",
    ),
}  # fmt: skip
