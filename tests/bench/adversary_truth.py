"""What the metrics of a scene should give, from its lines and densities alone.

A truth is a range: where a unit changes within the record, every value that it had is right.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from backbench.signal.itu_468 import TWO_KHZ, weighting_468
from backbench.signal.weighting import a_weighting
from bench.adversary_scene import Scene
from bench.adversary_units import Array, Line, Noise

LOW_HZ, HIGH_HZ = 20.0, 20_000.0
GRID = np.concatenate([np.arange(20.0, 400.0, 0.5), np.arange(400.0, 20_000.0, 10.0)])
WIDTHS = np.concatenate([np.full(760, 0.5), np.full(1960, 10.0)])
LAST_ORDER = 10
EDGE = 1.0005


class Truth(NamedTuple):
    """The least and the greatest value that are right."""

    low: float
    high: float

    def miss(self, value: float) -> float:
        """How far a value lies outside, signed."""
        return max(value - self.high, 0.0) - max(self.low - value, 0.0)


def spanning(*values: float) -> Truth:
    return Truth(min(values), max(values))


def band_power(noises: list[Noise], weights: Array | None = None) -> float:
    """Mean square of noises from 20 Hz to 20 kHz, V^2; weights: power factors on the grid."""
    centres = GRID + WIDTHS / 2
    factor = WIDTHS if weights is None else WIDTHS * weights
    return float(sum((noise.density(centres) * factor).sum() for noise in noises))


def mean_square(lines: list[Line], weighting: object = None) -> float:
    """Of lines between 20 Hz and 20 kHz, V^2."""
    inside = [x for x in lines if LOW_HZ <= x.hz <= HIGH_HZ * EDGE]
    factors = [1.0 if weighting is None else weighting(np.array([x.hz]))[0] ** 2 for x in inside]  # type: ignore[operator]
    return float(sum(x.peak**2 / 2 * w for x, w in zip(inside, factors, strict=True)))


def noise_powers(scene: Scene, weights: Array | None = None) -> tuple[float, ...]:
    """Mean squares that the noise of the record may have: without and with what may show."""
    sure = band_power(scene.noises, weights)
    return (sure, sure + band_power(scene.maybe, weights)) if scene.maybe else (sure,)


def tone_truth(scene: Scene) -> dict[str, Truth]:
    """Of a tone: its level, harmonics, residual and noise."""
    first, rest = scene.lines[0], scene.lines[1:]
    rms = first.peak / np.sqrt(2)
    truth = {
        "level": spanning(*(rms * k for k in scene.span)),
        "dc_offset": _offset(scene),
    }
    load = scene.statement.get("real_load_ohm")
    if load:
        truth["output_power"] = spanning(*((rms * k) ** 2 / load for k in scene.span))
    truth |= _harmonic_truth(scene, first, rest)
    return truth | _residual_truth(scene, rms, rest)


def _offset(scene: Scene) -> Truth:
    """What is slower than the record can't be told from a steady voltage: part of it."""
    slowest = np.array([1 / (2 * scene.seconds)])
    density = sum(float(noise.density(slowest)[0]) for noise in [*scene.noises, *scene.maybe])
    slow = 2 * math.sqrt(density / scene.seconds)
    slow += sum(x.peak for x in scene.beside if x.hz * scene.seconds < 1)
    volts = [scene.dc_v + k for k in scene.dc_span_v]
    return Truth(min(volts) - slow, max(volts) + slow)


def _harmonic_truth(scene: Scene, first: Line, rest: list[Line]) -> dict[str, Truth]:
    by_order = {x.order[0]: x.peak / first.peak for x in rest}
    spread = scene.product_span
    truth = {}
    for n in range(2, LAST_ORDER + 1):
        if by_order.get(n, 0.0) > 0:
            levels = [20 * np.log10(by_order[n] * k) for k in spread]
            truth[f"harmonic {n}"] = spanning(*levels)
    for last in range(2, LAST_ORDER + 1):
        share = np.sqrt(sum(a**2 for n, a in by_order.items() if n <= last))
        total = share / np.sqrt(1 + share**2)
        truth[f"thd to {last}"] = spanning(*(100 * share * k for k in spread))
        truth[f"thd_total to {last}"] = spanning(*(100 * total * k for k in spread))
    wide = np.sqrt(sum((x.peak / first.peak) ** 2 for x in rest if x.hz <= HIGH_HZ * EDGE))
    truth["thd_wide"] = spanning(*(100 * wide * k for k in spread))
    return truth


def _residual_truth(scene: Scene, rms: float, rest: list[Line]) -> dict[str, Truth]:
    products, hum = mean_square(rest), mean_square([*scene.hum, *scene.beside])
    thd_n, snr = [], []
    for noise in noise_powers(scene):
        for level in scene.span:
            for bent in scene.product_span:
                first = (rms * level) ** 2
                beside = noise + hum
                residual = beside + products * (level * bent) ** 2
                thd_n.append(100 * np.sqrt(residual / (first + residual)))
                snr.append(10 * np.log10(first / beside))
    return {
        "thd_n": spanning(*thd_n),
        "sinad": spanning(*(-20 * np.log10(x / 100) for x in thd_n)),
        "snr": spanning(*snr),
    }


def idle_truth(scene: Scene) -> dict[str, Truth]:
    """Of idle noise: the band with weightings, mains lines, hum and hiss."""
    truth = {}
    centres = GRID + WIDTHS / 2
    for name, weighting, scale in (
        ("noise", None, 1.0), ("noise_a", a_weighting, 1.0),
        ("noise_ccir_rms", weighting_468, 1 / TWO_KHZ),
    ):  # fmt: skip
        weights = None if weighting is None else weighting(centres) ** 2
        lines = mean_square([*scene.hum, *scene.lines], weighting)
        values = [
            scale * np.sqrt(noise + lines * k**2)
            for noise in noise_powers(scene, weights)
            for k in scene.hum_span
        ]
        truth[name] = spanning(*values)
    return truth | _hum_truth(scene)


def _hum_truth(scene: Scene) -> dict[str, Truth]:
    ten = [x for x in scene.hum if x.order[0] <= LAST_ORDER]
    hum = mean_square(ten)
    truth = {f"mains_line {x.order[0]}": spanning(*(x.peak / np.sqrt(2) * k
             for k in scene.hum_span)) for x in ten}  # fmt: skip
    if hum > 0:
        truth["hum"] = spanning(*(np.sqrt(hum) * k for k in scene.hum_span))
    inside = np.linspace(1000, 10_000, 500)
    hiss = [
        np.sqrt(np.mean(sum(noise.density(inside) for noise in some)))
        for some in ([*scene.noises], [*scene.noises, *scene.maybe])
    ]
    truth["hiss"] = spanning(*hiss)
    if hum > 0:
        steps = scene.step_density * (HIGH_HZ - LOW_HZ)
        ratios = [10 * np.log10(hum * k**2 / (noise + own)) for noise in noise_powers(scene)
                  for k in scene.hum_span for own in (0.0, steps)]  # fmt: skip
        truth["hum_over_hiss"] = spanning(*ratios)
    return truth


def pair_truth(scene: Scene) -> dict[str, Truth]:
    """Of two tones: products re the tones, as the standards define them."""
    peak = {x.order: x.peak for x in scene.lines}
    low, high = peak[1, 0], peak[0, 1]
    at = lambda m, n: peak.get((m, n), 0.0)  # noqa: E731
    if scene.statement["ratio"] == 1.0:
        whole = (low + high) / 100
        second, third, other = at(-1, 1), at(2, -1) or at(-2, 1), at(-1, 2)
        values = {
            "difference_frequency_2": second / whole,
            "difference_frequency_3": (third + other) / whole,
            "difference_frequency_total": np.hypot(second, third) / whole,
        }
    else:
        sides = [at(-1, 1), at(1, 1), at(-2, 1), at(2, 1)]
        values = {
            "modulation_distortion_2": 100 * (sides[0] + sides[1]) / high,
            "modulation_distortion_3": 100 * (sides[2] + sides[3]) / high,
            "modulation_distortion_rms": 100 * np.sqrt(sum(s**2 for s in sides)) / high,
        }
    truth = {n: spanning(*(v * k for k in scene.product_span)) for n, v in values.items() if v > 0}
    level = np.sqrt((low**2 + high**2) / 2)
    return truth | {"tones_level": spanning(*(level * k for k in scene.span))}


NOTHING = Truth(math.inf, -math.inf)
_OF_NOTHING = {
    "tone": ("level", "thd to 10", "thd_total to 10", "thd_wide", "thd_n", "sinad", "snr"),
    "idle": ("noise", "noise_a", "noise_ccir_rms", "hiss"),
    "two tones": ("tones_level", "modulation_distortion_rms", "difference_frequency_total"),
    "multitone": ("tones_level", "between_tones", "multitone_distortion"),
    "square": ("rise_time", "fall_time", "tilt", "state_high", "state_low"),
    "burst": ("burst_level", "burst_distortion"),
    "sweep": ("response_low_3db", "response_high_3db"),
}


def of_nothing(kind: str) -> dict[str, Truth]:
    """Metrics of a kind of capture in which no value is right."""
    return dict.fromkeys(_OF_NOTHING[kind], NOTHING)
