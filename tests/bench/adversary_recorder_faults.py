"""What recorders, coders and the handling of files do to a record; one function a fault.

None of it is true of the unit. They are drawn from seed FIRST_SEED on: the draws of earlier seeds
stay what they were.
"""

from __future__ import annotations

import numpy as np

from backbench.signal.sample_rates import RATES_HZ
from bench.adversary_faults import FAULTS, PLAYED, TONES, fault, loudness
from bench.adversary_scene import Scene
from bench.adversary_units import Array, Line

__all__ = ["FAULTS", "FIRST_SEED", "LATER"]

FIRST_SEED = 4005
_earlier = set(FAULTS)


@fault("fades", PLAYED)
def fades(scene: Scene) -> None:
    """In at the beginning and out at the end, as editors do."""
    rise, fall = 10 ** scene.rng.uniform(-2.3, -0.7, 2) * scene.seconds
    scene.envelope.append(lambda t: np.clip(t / rise, 0, 1))
    scene.envelope.append(lambda t: np.clip((scene.seconds - t) / fall, 0, 1))


@fault("slipped samples")
def slipped_samples(scene: Scene) -> None:
    """One to three samples lost or repeated, as clocks that differ make it, up to four times."""
    places = np.sort(scene.rng.uniform(0.02, 0.98, int(scene.rng.integers(1, 5))))
    length, lost = int(scene.rng.integers(1, 4)), bool(scene.rng.random() < 0.5)

    def slip(volts: Array, rate: float, rng: np.random.Generator) -> Array:
        for at in places[::-1]:
            first = int(at * len(volts))
            some = slice(first, first + length)
            volts = np.delete(volts, some) if lost else np.insert(volts, first, volts[some])
        return volts

    scene.spoilt.append(slip)


@fault("offset jumps")
def offset_jumps(scene: Scene) -> None:
    """A DC step within the record."""
    volts = 10 ** scene.rng.uniform(-4, -1) * loudness(scene)
    at = scene.rng.uniform(0.1, 0.9) * scene.seconds
    scene.dc_span_v = (0.0, volts)
    scene.added.append(lambda t, rng: np.where(t > at, volts, 0.0))


@fault("hum jumps", ("idle",), late=True)
def hum_jumps(scene: Scene) -> None:
    """A relay, a heater or a lamp that is switched."""
    k, at = float(np.exp(scene.rng.uniform(-2, 2))), scene.rng.uniform(0.1, 0.9) * scene.seconds
    scene.hum_gain.append(lambda t: np.where(t > at, k, 1.0))


@fault("mains wanders", ("idle", "tone", "multitone"), late=True)
def mains_wanders(scene: Scene) -> None:
    """The frequency of the mains moves by up to 0.3 %, as a generator set's does."""
    depth, hz = 10 ** scene.rng.uniform(-4, -2.5), scene.rng.uniform(0.3, 3)
    scene.hum_bend.append(lambda t: depth / (2 * np.pi * hz) * np.sin(2 * np.pi * hz * t))


@fault("band cut short")
def band_cut_short(scene: Scene) -> None:
    """Coded with losses, or played at a lower rate and converted up: nothing above an edge."""
    from scipy.signal import fftconvolve, firwin

    edges = [hz for hz in (15e3, 16e3, 19e3, 20.6e3, 22e3) if hz < 0.46 * scene.rate]
    edge = float(scene.rng.choice(edges))

    def cut(volts: Array, rate: float, rng: np.random.Generator) -> Array:
        taps = firwin(501, edge, fs=rate, window=("kaiser", 9.0))
        return np.asarray(fftconvolve(volts, taps, mode="same"))

    scene.spoilt.append(cut)


@fault("clips below full scale", (*TONES, "looped tone"), late=True)
def clips_below_full_scale(scene: Scene) -> None:
    """An input stage before the converter, or a file that was turned down after it clipped."""
    crest = scene.crest_v or sum(x.peak for x in scene.lines if x.played)
    top = crest * (1 - 10 ** scene.rng.uniform(-3, -0.5))
    scene.spoilt.append(lambda volts, rate, rng: np.clip(volts, -top, top))


@fault("rate of the header wrong")
def header_wrong(scene: Scene) -> None:
    """44.1 kHz told as 48 kHz, or the other way round, and their multiples: a usual rate."""
    told = [x for r in (48 / 44.1, 44.1 / 48, 2.0, 0.5) if round(x := scene.rate * r) in RATES_HZ]
    scene.header_rate = float(round(scene.rng.choice(told)))


@fault("gate closes", ("idle",), late=True)
def gate_closes(scene: Scene) -> None:
    """A recorder's noise gate takes what is weak down by 10 to 60 dB."""
    at, left = scene.rng.uniform(0.05, 0.9) * scene.seconds, 10 ** -scene.rng.uniform(0.5, 3)

    def gate(volts: Array, rate: float, rng: np.random.Generator) -> Array:
        return volts * np.where(np.arange(len(volts)) > at * rate, left, 1.0)

    scene.spoilt.append(gate)


def _sum(lines: list[Line], t: Array) -> Array:
    result = np.zeros(len(t))
    for x in lines:
        result += x.peak * np.cos(2 * np.pi * x.hz * t + x.phase)
    return result


@fault("transmitter near by", TONES)
def transmitter_near_by(scene: Scene) -> None:
    """Its bursts, 217 a second: lines at their multiples to 5 kHz."""
    peak = 10 ** scene.rng.uniform(-5, -3) * max(loudness(scene), 0.03)
    some = [Line(217.0 * n, peak / n, float(n), order=(n,)) for n in range(1, 24)]
    scene.added.append(lambda t, rng: _sum(some, t))
    scene.sidebands = [*scene.sidebands, *some]


LATER = frozenset(set(FAULTS) - _earlier)
