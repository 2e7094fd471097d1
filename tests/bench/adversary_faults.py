"""What may be wrong with a unit, a bench or a statement; one function a fault.

A fault of the unit changes what is true as well; one of the bench or of a statement doesn't.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from bench.adversary_scene import Scene
from bench.adversary_units import Array, Line, Noise, mains_family, telegraph_density

TONES = ("tone", "two tones", "multitone")
WAVES = ("square", "burst", "sweep")
SEVERAL = ("looped tone", "two loads", "levels")
DRIVEN = (*TONES, *WAVES, "looped tone", "two loads")
PLAYED = (*TONES, *WAVES, *SEVERAL)
ALL = (*PLAYED, "idle")


@dataclass(frozen=True)
class Fault:
    """late: applied after those that change the level or what was played."""

    name: str
    kinds: tuple[str, ...]
    apply: Callable[[Scene], None]
    late: bool


FAULTS: dict[str, Fault] = {}


def fault(
    name: str, kinds: tuple[str, ...] = ALL, *, late: bool = False
) -> Callable[[Callable[[Scene], None]], Callable[[Scene], None]]:
    def declare(apply: Callable[[Scene], None]) -> Callable[[Scene], None]:
        FAULTS[name] = Fault(name, kinds, apply, late)
        return apply

    return declare


def loudness(scene: Scene) -> float:
    """A voltage to scale things by: the tone's, or the noise of an idle record."""
    if scene.lines or scene.crest_v:
        return scene.crest_v or scene.lines[0].peak
    mid = np.array([1000.0])
    return float(np.sqrt(sum(noise.density(mid)[0] for noise in scene.noises) * 2e4))


# Of the unit: it changes while it is recorded.


def _span(scene: Scene, gain: Callable[[Array], Array]) -> None:
    t = np.linspace(0, scene.seconds, 4000)
    k = gain(t)
    scene.envelope.append(gain)
    scene.span = (scene.span[0] * float(k.min()), scene.span[1] * float(k.max()))


@fault("level drifts", DRIVEN)
def level_drifts(scene: Scene) -> None:
    """By 0.1 to 15 dB, straight in dB."""
    db = -(10 ** scene.rng.uniform(-1, 1.2)) / 20
    _span(scene, lambda t: 10 ** (db * t / scene.seconds))


@fault("level steps", DRIVEN)
def level_steps(scene: Scene) -> None:
    at, db = scene.rng.uniform(0.1, 0.9) * scene.seconds, 10 ** scene.rng.uniform(-1.3, 0.5)
    _span(scene, lambda t: np.where(t < at, 1.0, 10 ** (-db / 20)))


@fault("supply sags", DRIVEN)
def supply_sags(scene: Scene) -> None:
    """An exponential fall after the tone's start."""
    fall, tau = 10 ** scene.rng.uniform(-2.5, -0.7), scene.rng.uniform(0.02, 0.3)
    _span(scene, lambda t: 1 - fall * (1 - np.exp(-t / tau)))


@fault("level flutters", DRIVEN)
def level_flutters(scene: Scene) -> None:
    """Slow modulation, 1 to 12 Hz."""
    depth, hz = 10 ** scene.rng.uniform(-3, -1), scene.rng.uniform(1, 12)
    _span(scene, lambda t: 1 + depth * np.cos(2 * np.pi * hz * t))


@fault("distortion drifts", (*TONES, "burst"))
def distortion_drifts(scene: Scene) -> None:
    """Distortion products grow or shrink by up to a factor of three."""
    k = float(np.exp(scene.rng.uniform(-1.1, 1.1)))
    scene.product_envelope = lambda t: k ** (t / scene.seconds)
    scene.product_span = (min(1.0, k), max(1.0, k))


@fault("starts late", PLAYED)
def starts_late(scene: Scene) -> None:
    gap = scene.rng.uniform(0.01, 0.3) * scene.seconds
    scene.envelope.append(lambda t: np.where(t < gap, 0.0, 1.0))


@fault("stops early", PLAYED)
def stops_early(scene: Scene) -> None:
    end = scene.rng.uniform(0.7, 0.99) * scene.seconds
    scene.envelope.append(lambda t: np.where(t > end, 0.0, 1.0))


@fault("hum drifts", ("idle",), late=True)
def hum_drifts(scene: Scene) -> None:
    """A filter capacitor that forms, or a heater that warms."""
    k = float(np.exp(scene.rng.uniform(-1.1, 1.1)))
    scene.hum_gain.append(lambda t: k ** (t / scene.seconds))


@fault("dc drifts")
def dc_drifts(scene: Scene) -> None:
    """An offset that settles as a capacitor charges."""
    volts, tau = 10 ** scene.rng.uniform(-3, -1) * loudness(scene), scene.rng.uniform(0.05, 1.0)
    scene.dc_span_v = (0.0, volts)
    scene.added.append(lambda t, rng: volts * np.exp(-t / tau))


# Of the unit: noises and lines.


@fault("1/f noise")
def flicker_noise(scene: Scene) -> None:
    """Steep noise: 1/f to 1/f^2 far up."""
    steep, corner = scene.rng.uniform(1, 2), 10 ** scene.rng.uniform(2.5, 4)
    white = float(scene.noises[0].density(np.array([2e4]))[0])
    scene.noises.append(Noise(lambda f: white * (corner / np.maximum(f, 1.0)) ** steep))


@fault("popcorn noise")
def popcorn_noise(scene: Scene) -> None:
    """A random telegraph signal with 20 turns a second or more."""
    volts = 10 ** scene.rng.uniform(-5, -2.5) * max(loudness(scene), 0.1)
    turns = 10 ** scene.rng.uniform(1.5, 3)
    scene.added.append(lambda t, rng: _telegraph(t, rng, volts, turns))
    scene.maybe.append(Noise(telegraph_density(volts, turns)))
    _sure(scene, turns * scene.seconds)


def _sure(scene: Scene, events: float) -> None:
    """With many events in the record its noise is what it is on average."""
    if events >= 20:
        result = scene.maybe.pop()
        # It is rendered by itself; the truth knows it by its density.
        scene.noises.append(_Unplayed(result.density))


class _Unplayed(Noise):
    def volts(self, rng: np.random.Generator, rate: float, count: int) -> Array:
        return np.zeros(count)


def _telegraph(t: Array, rng: np.random.Generator, volts: float, turns: float) -> Array:
    at = np.cumsum(rng.exponential(1 / turns, int(3 * turns * (t[-1] + 1)) + 10))
    return volts * np.where(np.searchsorted(at, t) % 2 == 0, 1.0, -1.0)


@fault("crackle")
def crackle(scene: Scene) -> None:
    """Single clicks at random instants, 2 to 200 a second."""
    volts, often = (
        10 ** scene.rng.uniform(-3.5, -1) * max(loudness(scene), 0.03),
        10 ** (scene.rng.uniform(0.3, 2.3)),
    )
    rate = scene.rate

    def clicks(t: Array, rng: np.random.Generator) -> Array:
        result = np.zeros(len(t))
        where = rng.integers(0, len(t), rng.poisson(often * t[-1]))
        np.add.at(result, where, volts * rng.normal(size=len(where)))
        return result

    scene.added.append(clicks)
    density = 2 * often * volts**2 / rate**2
    scene.maybe.append(Noise(lambda f: np.full(np.shape(f), density)))
    _sure(scene, often * scene.seconds)


@fault("noise bursts")
def noise_bursts(scene: Scene) -> None:
    """Noise that comes and goes within the record; any of its values is right."""
    times = scene.rng.uniform(2, 20)
    first, last = np.sort(scene.rng.uniform(0, scene.seconds, 2))
    noise = Noise(lambda f: times**2 * scene.noises[0].density(f))

    def burst(t: Array, rng: np.random.Generator) -> Array:
        return noise.volts(rng, scene.rate, len(t)) * ((t > first) & (t < last))

    scene.added.append(burst)
    scene.maybe.append(noise)


@fault("oscillation")
def oscillation(scene: Scene) -> None:
    """A strong line above 20 kHz."""
    hz = scene.rng.uniform(21e3, max(0.44 * scene.rate, 21.2e3))
    peak = 10 ** scene.rng.uniform(-3, -0.7) * max(loudness(scene), 0.01)
    scene.added.append(lambda t, rng: peak * np.cos(2 * np.pi * hz * t))


@fault("motorboating")
def motorboating(scene: Scene) -> None:
    """A strong line of 1 to 8 Hz beside the signal."""
    hz, peak = scene.rng.uniform(1, 8), 10 ** scene.rng.uniform(-3, -1) * max(loudness(scene), 0.01)
    scene.added.append(lambda t, rng: peak * np.cos(2 * np.pi * hz * t + 1))
    scene.dc_span_v = (min(scene.dc_span_v) - peak, max(scene.dc_span_v) + peak)


@fault("rectifier buzz")
def rectifier_buzz(scene: Scene) -> None:
    """Even multiples of the mains far up."""
    rms = 10 ** scene.rng.uniform(-4.5, -2.5) * max(loudness(scene), 0.1)
    scene.hum = _merged(scene.hum, mains_family(scene.rng, scene.mains_hz, rms, "buzz"))


def _merged(one: list[Line], other: list[Line]) -> list[Line]:
    """Lines of two families; of one frequency the later stands for both."""
    return list({x.order: x for x in [*one, *other]}.values())


@fault("mains under the tone", ("tone",), late=True)
def mains_under_the_tone(scene: Scene) -> None:
    """The tone lies at a round frequency on or near a multiple of the mains, with buzz."""
    stated = {997.0: 1000.0, 22.3: 20.0, 315.3: 300.0, 63.7: 60.0, 3150.7: 3000.0, 6003.0: 6000.0}
    old = scene.statement["tone_hz"]
    scene.statement["tone_hz"] = stated[old]
    ratio = stated[old] / old
    scene.lines = [replace(x, hz=x.hz * ratio) for x in scene.lines]
    if old == 22.3 and scene.seconds < 0.85:
        scene.seconds = 0.9
    rectifier_buzz(scene)


@fault("hum beside the tone", PLAYED)
def hum_beside_the_tone(scene: Scene) -> None:
    """The mains, near a tone that may be a low one."""
    rms, kind = (
        10 ** scene.rng.uniform(-4, -2) * loudness(scene),
        scene.rng.choice(["field", "ripple"]),
    )
    scene.hum = mains_family(scene.rng, scene.mains_hz, rms, str(kind))


@fault("modulated by the mains", (*TONES, "looped tone"))
def modulated_by_mains(scene: Scene) -> None:
    depth, n = 10 ** scene.rng.uniform(-4, -1.5), int(scene.rng.choice([1, 2]))
    hz = n * scene.mains_hz
    scene.envelope.append(lambda t: 1 + depth * np.cos(2 * np.pi * hz * t))
    scene.modulation.append((depth, hz))
