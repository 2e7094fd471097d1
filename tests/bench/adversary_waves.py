"""Honest scenes of many tones, square waves, bursts and sweeps, and what their metrics give."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.optimize import brentq
from scipy.signal import bilinear, lfilter

from bench.adversary_scene import Scene
from bench.adversary_truth import Truth, mean_square, noise_powers, spanning
from bench.adversary_units import Array, Line, draw_curve
from squares import high_pass, low_pass
from swept import Played, played

POINTS = 8192
FAINT = 1e-7
LOBE, EDGE, STRONGEST = 16.0, 1.0, 20
"""Bins of a lobe; bins to either side of its edge where a line may be counted or not."""
ON_S, EVERY_S, QUIET = 0.02, 0.5, 0.1
"""A burst of 20 ms every 500 ms, between them a tenth (IHF-A-202:1978, from memory)."""
SWEPT_HZ = (10.0, 22_000.0)
LEAD_S, TAIL_S = 0.1, 0.4
AT_HZ = (20.0, 50.0, 200.0, 5000.0, 10_000.0)
FULL_SCALE_SINE_DB, DB_PER_BIT = 1.7609, 6.0206


# Many tones.


def many_tones(scene: Scene) -> None:
    """Multiples of one frequency through a curve: every product is a multiple too."""
    rng = scene.rng
    base, count = float(rng.choice([109.0, 203.0])), int(rng.integers(4, 11))
    orders = sorted({round(n) for n in np.geomspace(1, 17_000 / base, count)})
    off, angle = 1 + rng.uniform(-1e-4, 1e-4), 2 * np.pi * np.arange(POINTS) / POINTS
    driven = sum(np.cos(n * angle + rng.uniform(0, 6.28)) for n in orders)
    peak = scene.full_scale_v * 10 ** rng.uniform(-1.5, -0.4)
    wave = peak * draw_curve(rng)(driven / np.abs(driven).max())
    result = np.fft.rfft(wave) / (POINTS / 2)
    top = min(int(scene.highest_hz / base), POINTS // 2)
    scene.lines = [
        Line(n * base * off, float(abs(result[n])), float(np.angle(result[n])), (n,), n in orders)
        for n in range(1, top)
        if n in orders or abs(result[n]) > FAINT * peak
    ]
    scene.crest_v = float(np.abs(wave).max())
    scene.statement |= {f"tone {n}": n * base for n in orders}


def multitone_truth(scene: Scene) -> dict[str, Truth]:
    """Levels of tones and of all that lies between them."""
    tones = [x for x in scene.lines if x.played]
    rest = [x for x in scene.lines if not x.played]
    level = math.sqrt(sum(x.peak**2 / 2 for x in tones))
    truth = {"tones_level": spanning(*(level * k for k in scene.span))}
    return truth | _between(scene, level, rest) | _strongest(scene, tones, rest)


def _between(scene: Scene, level: float, rest: list[Line]) -> dict[str, Truth]:
    products = mean_square(rest)
    beside, shares = [], []
    for noise, edge in itertools.product(noise_powers(scene), (LOBE / 2 + EDGE, LOBE / 2 - EDGE)):
        hum = mean_square(_seen(scene, [*scene.hum, *scene.beside], edge))
        for k, bent in itertools.product(scene.span, scene.product_span):
            square = noise + hum + products * (k * bent) ** 2
            beside.append(math.sqrt(square))
            shares.append(square / (square + (level * k) ** 2))
    bits = [(-10 * math.log10(s) - FULL_SCALE_SINE_DB) / DB_PER_BIT for s in shares]
    return {
        "between_tones": spanning(*beside),
        "multitone_distortion": spanning(*(100 * math.sqrt(s) for s in shares)),
        "equivalent_bits": spanning(*bits),
    }


def _strongest(scene: Scene, tones: list[Line], rest: list[Line]) -> dict[str, Truth]:
    """A line is what the record doesn't tell apart: of several, all that their phases allow."""
    peaks = []
    for k in [a * b for a in scene.span for b in scene.product_span]:
        every = [replace(x, peak=k * x.peak) for x in rest]
        for edge in (LOBE / 2 + EDGE, LOBE / 2 - EDGE):
            seen = [*every, *_seen(scene, [*scene.hum, *scene.beside], edge)]
            audible = [x for x in seen if 20 <= x.hz <= 20_000]
            peaks += _within_a_lobe(audible, LOBE / scene.seconds)
    if not peaks or min(peaks) <= 0:
        return {}
    top = max(x.peak for x in tones)
    sfdr = [20 * math.log10(top * k / p) for k in scene.span for p in peaks]
    return {
        "greatest_product": spanning(*(p / math.sqrt(2) for p in peaks)),
        "sfdr": spanning(*sfdr),
    }


def _seen(scene: Scene, lines: list[Line], reach: float) -> list[Line]:
    """Those that don't lie within `reach` bins of a tone, where none can be seen."""
    tones = np.array([x.hz for x in scene.lines if x.played])
    return [x for x in lines if np.abs(tones - x.hz).min() > reach / scene.seconds]


def _within_a_lobe(lines: list[Line], reach_hz: float) -> list[float]:
    """The least and the greatest that the strongest can show with those beside it."""
    if not lines:
        return []
    least, most = 0.0, 0.0
    for x in sorted(lines, key=lambda x: -x.peak)[:STRONGEST]:
        beside = sum(o.peak for o in lines if o is not x and abs(o.hz - x.hz) < reach_hz)
        least, most = max(least, x.peak - beside), max(most, x.peak + beside)
    return [least, most]


# Square waves.


def square_wave(scene: Scene) -> None:
    """Through a first-order low-pass and high-pass, by its harmonics."""
    rng = scene.rng
    stated, swing = 1000.0, scene.full_scale_v * 10 ** rng.uniform(-1.5, -0.4)
    high, low = 10 ** rng.uniform(3.6, 4.4), 10 ** rng.uniform(0, 2)
    hz = stated * (1 + rng.uniform(-3e-4, 3e-4))
    turn = rng.uniform(0, 2 * np.pi)
    through = lambda f: low_pass(high)(f) * high_pass(low)(f)  # noqa: E731
    for n in range(1, int(scene.highest_hz / hz) + 1, 2):
        phasor = -4j / np.pi / n * swing * through(n * hz) * np.exp(1j * n * turn)
        scene.lines.append(Line(n * hz, abs(phasor), float(np.angle(phasor)), (n,), n == 1))
    scene.crest_v = 1.2 * swing
    scene.statement |= {"square_hz": stated, "high_hz": high, "low_hz": low, "swing_v": swing}


def square_truth(scene: Scene) -> dict[str, Truth]:
    """Closed forms of both first-order systems; of edges where the tilt is slight."""
    given = scene.statement
    low, high, hz = given["low_hz"], given["high_hz"], scene.lines[0].hz
    truth = {
        "tilt": spanning(200 * math.tanh(math.pi * low / 2 / hz)), "tilt_low_cutoff": spanning(low),
    }  # fmt: skip
    if low < 10:
        rise = math.log(9) / (2 * math.pi * high)
        truth |= {"rise_time": spanning(rise), "fall_time": spanning(rise)}
        for name, sign in (("state_high", 1), ("state_low", -1)):
            states = [sign * given["swing_v"] * k + v for k in scene.span for v in _offsets(scene)]
            truth[name] = spanning(*states)
    return truth


def _offsets(scene: Scene) -> list[float]:
    return [scene.dc_v + v for v in scene.dc_span_v]


# Bursts.


def burst(scene: Scene) -> None:
    """A sine through a curve that is ten times stronger for 20 ms twice a second."""
    rng = scene.rng
    hz = 1000.0 * (1 + rng.uniform(-3e-4, 3e-4))
    peak = scene.full_scale_v * 10 ** rng.uniform(-1.5, -0.4)
    angle = 2 * np.pi * np.arange(POINTS) / POINTS
    result = np.fft.rfft(peak * draw_curve(rng)(np.cos(angle))) / (POINTS / 2)
    turn = rng.uniform(0, 2 * np.pi)
    scene.lines = [
        Line(n * hz, float(abs(result[n])), float(np.angle(result[n])) + n * turn, (n,), n == 1)
        for n in range(1, min(int(scene.highest_hz / hz), 60) + 1)
        if abs(result[n]) > FAINT * peak
    ]
    first = rng.uniform(0.05, 0.2)
    scene.envelope.append(
        lambda t: np.where((t >= first) & ((t - first) % EVERY_S < ON_S), 1.0, QUIET)
    )
    scene.crest_v = peak
    scene.statement["burst_hz"] = 1000.0


def burst_truth(scene: Scene) -> dict[str, Truth]:
    """Level and distortion while a burst is on."""
    first = scene.lines[0].peak
    share = math.sqrt(sum(x.peak**2 for x in scene.lines if 2 <= x.order[0] <= 10)) / first
    truth = {"burst_level": spanning(*(first / math.sqrt(2) * k for k in scene.span))}
    if share > 0:
        truth["burst_distortion"] = spanning(*(100 * share * k for k in scene.product_span))
    return truth


# Sweeps.


def sent_sweep(scene: Scene) -> Played:
    """What was played, without an error of anything."""
    return played(*SWEPT_HZ, scene.statement["sweep_s"], TAIL_S, scene.rate)


def sweep(scene: Scene) -> None:
    """Through a first-order high-pass and low-pass after the bilinear transform."""
    rng = scene.rng
    low, high = rng.uniform(15, 60), rng.uniform(9e3, 17e3)
    peak = scene.full_scale_v * 10 ** rng.uniform(-1.5, -0.4)
    scene.statement["sweep_s"] = round(scene.seconds - LEAD_S - TAIL_S, 3)
    sent = sent_sweep(scene)
    scene.seconds = len(sent.volts) / scene.rate
    grid = np.arange(len(sent.volts)) / scene.rate
    scene.wave = lambda t: peak * _through(_resampled(t, grid, sent.volts), low, high, scene.rate)
    scene.crest_v = peak
    scene.statement |= {"low_hz": low, "high_hz": high}


def _resampled(t: Array, grid: Array, volts: Array) -> Array:
    """The wave at other instants; the wave itself where they are those of the grid."""
    if np.array_equal(t, grid):
        return volts
    from scipy.interpolate import CubicSpline

    finer = 8
    fine = np.fft.irfft(np.fft.rfft(volts), finer * len(volts)) * finer
    made = CubicSpline(np.arange(len(fine)) * (grid[1] / finer), fine)
    result: Array = made(np.clip(t, grid[0], grid[-1]))
    return result


def _through(volts: Array, low: float, high: float, rate: float) -> Array:
    once = lfilter(*bilinear([1, 0], [1, 2 * np.pi * low], rate), volts)
    pole = 2 * np.pi * high
    result: Array = lfilter(*bilinear([pole], [1, pole], rate), once)
    return result


def sweep_truth(scene: Scene) -> dict[str, Truth]:
    """Levels re 1 kHz and corners; where the unit's level changed, all that these could be."""
    low, high = scene.statement["low_hz"], scene.statement["high_hz"]
    level = lambda hz: _gain_db(hz, low, high, scene.rate)  # noqa: E731
    spare = 20 * math.log10(scene.span[1] / scene.span[0])
    truth = {}
    for hz in AT_HZ:
        own = level(hz) - level(1000.0)
        truth[f"response_at {hz:g}"] = Truth(own - spare, own + spare)
    half = 10 * math.log10(0.5)
    for name, ends in (("response_low_3db", (1.0, 900.0)), ("response_high_3db", (2e3, 20e3))):
        result = [_corner(level, half + k, ends) for k in (-spare, spare)]
        truth[name] = spanning(*result)
    return truth


def _gain_db(hz: float, low: float, high: float, rate: float) -> float:
    bent = rate / math.pi * math.tan(math.pi * hz / rate)
    return -10 * math.log10((1 + (low / bent) ** 2) * (1 + (bent / high) ** 2))


def _corner(level: Callable[[float], float], db: float, ends: tuple[float, float]) -> float:
    """Where the level re 1 kHz is db, or the end beyond which it lies."""
    away = lambda hz: level(hz) - level(1000.0) - db  # noqa: E731
    first, last = away(ends[0]), away(ends[1])
    if first * last > 0:
        return ends[0] if abs(first) < abs(last) else ends[1]
    return float(brentq(away, *ends))
