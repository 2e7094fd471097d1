"""What may be wrong with a bench, a recording or a statement; one function a fault.

None of it is true of the unit, so that the truth stays as it was.
"""

from __future__ import annotations

import numpy as np

from bench.adversary_faults import (
    FAULTS,
    PLAYED,
    SEVERAL,
    TONES,
    WAVES,
    fault,
    loudness,
)
from bench.adversary_scene import Scene
from bench.adversary_units import Array, Noise

__all__ = ["FAULTS"]

# Of the bench: time and samples.


@fault("clock off")
def clock_off(scene: Scene) -> None:
    """By up to 0.1 %, more than a crystal's."""
    off = scene.rng.uniform(-1e-3, 1e-3)
    scene.bent_time.append(lambda t: off * t)


@fault("wow", PLAYED)
def wow(scene: Scene) -> None:
    hz, depth = scene.rng.uniform(0.5, 10), 10 ** scene.rng.uniform(-5, -2.5)
    scene.bent_time.append(lambda t: depth / (2 * np.pi * hz) * np.sin(2 * np.pi * hz * t + 1))


@fault("jitter", PLAYED)
def jitter(scene: Scene) -> None:
    """Random error of each sample's instant."""
    seconds, seed = 10 ** scene.rng.uniform(-9.5, -7), int(scene.rng.integers(1 << 30))
    scene.bent_time.append(lambda t: seconds * np.random.default_rng(seed).normal(size=len(t)))
    # Without a loop-back nothing tells it from the unit's noise.
    swing = sum((2 * np.pi * x.hz * x.peak * seconds) ** 2 / 2 for x in scene.lines)
    density = swing / (scene.rate / 2)
    scene.maybe.append(Noise(lambda f: np.full(np.shape(f), density)))


@fault("gaps")
def gaps(scene: Scene) -> None:
    """One to five gaps of zeros."""
    number, length = int(scene.rng.integers(1, 6)), int(10 ** scene.rng.uniform(0.5, 2.7))

    def cut(volts: Array, rate: float, rng: np.random.Generator) -> Array:
        volts = volts.copy()
        for first in rng.integers(0, len(volts) - length, number):
            volts[first : first + length] = 0.0
        return volts

    scene.spoilt.append(cut)


@fault("dropped block")
def dropped_block(scene: Scene) -> None:
    length = int(2 ** scene.rng.integers(3, 12))

    def drop(volts: Array, rate: float, rng: np.random.Generator) -> Array:
        first = int(rng.uniform(0.05, 0.9) * len(volts))
        return np.delete(volts, slice(first, first + length))

    scene.spoilt.append(drop)


@fault("repeated block")
def repeated_block(scene: Scene) -> None:
    length = int(2 ** scene.rng.integers(3, 12))

    def repeat(volts: Array, rate: float, rng: np.random.Generator) -> Array:
        first = int(rng.uniform(0.2, 0.9) * len(volts))
        return np.insert(volts, first, volts[first - length : first])

    scene.spoilt.append(repeat)


@fault("one click")
def one_click(scene: Scene) -> None:
    volts, at = 10 ** scene.rng.uniform(-3, 0) * max(loudness(scene), 0.01), scene.rng.uniform()

    def click(samples: Array, rate: float, rng: np.random.Generator) -> Array:
        samples = samples.copy()
        samples[int(at * (len(samples) - 1))] += volts
        return samples

    scene.spoilt.append(click)


@fault("converter clips", (*TONES, *WAVES, *SEVERAL), late=True)
def converter_clips(scene: Scene) -> None:
    """The tone reaches a little beyond full scale."""
    crest = scene.crest_v or sum(x.peak for x in scene.lines if x.played)
    scene.full_scale_v = crest * (1 - 10 ** scene.rng.uniform(-4, -0.5))


# Of the word length and of statements.


@fault("undithered 16 bits")
def undithered(scene: Scene) -> None:
    scene.bits, scene.used_bits, scene.dither = 16, None, False


@fault("quiet in 16 bits")
def quiet_in_16_bits(scene: Scene) -> None:
    """Dithered, but the steps make more noise than the unit may."""
    scene.bits = 16


@fault("short words in long ones")
def short_words(scene: Scene) -> None:
    """12 to 16 bits saved as 24."""
    scene.bits, scene.used_bits = 24, int(scene.rng.integers(12, 17))
    scene.dither = bool(scene.rng.random() < 0.5)


@fault("mains stated wrongly")
def mains_stated_wrongly(scene: Scene) -> None:
    scene.mains_stated_hz = {50.0: 60.0, 60.0: 50.0}[scene.mains_stated_hz]


@fault("power contradicts", ("tone",), late=True)
def power_contradicts(scene: Scene) -> None:
    """The load is another than stated; the stated power, a target within 1 dB, is the right one."""
    ratio = float(scene.rng.choice([0.5, 0.7, 0.75, 1.3, 1.5, 2.0]))
    scene.statement["load_ohm"] = 8.0
    scene.statement["real_load_ohm"] = 8.0 * ratio
    scene.statement["power_w"] = scene.lines[0].peak ** 2 / 2 / (8.0 * ratio)


@fault("something else played", (*TONES, "idle", *WAVES), late=True)
def something_else(scene: Scene) -> None:
    """Music, a sweep or noise in place of what was stated; no value is right."""
    level = 0.2 * scene.full_scale_v
    sort = str(scene.rng.choice(["music", "sweep", "tones", "noise"]))
    scene.lines, scene.hum, scene.wave = [], [], None
    scene.added.append(lambda t, rng: level * _sounds(sort, t, rng))
    scene.nothing_right = True


def _sounds(sort: str, t: Array, rng: np.random.Generator) -> Array:
    if sort == "sweep":
        k = np.log(1000) / t[-1]
        return np.sin(2 * np.pi * 20 / k * np.expm1(k * t))
    if sort == "noise":
        return 0.25 * rng.normal(size=len(t))
    result = np.zeros(len(t))
    for hz in 110 * 2 ** (rng.integers(0, 60, 8) / 12):
        beat = 1.0 if sort == "tones" else np.exp(-4 * ((t + rng.uniform(0, 0.4)) % 0.4) / 0.4)
        result += 0.1 * beat * np.sin(2 * np.pi * hz * t)
    return result
