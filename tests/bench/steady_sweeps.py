"""Sweeps through random honest units, and the same with one fault: how many are refused.

Run by hand: python tests/bench/steady_sweeps.py [--honest N] [--draws N] [--first SEED] [--faults
NAME,NAME]. Limits were chosen by seeds below 1000; figures are of seeds from there on. Prints, for
each fault, the share refused, and of the rest the share whose levels all lie within two standard
uncertainties or 0.1 dB of those of the same unit without it.
"""

from __future__ import annotations

import argparse
import os

os.environ.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1", MKL_NUM_THREADS="1")

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.signal import bilinear, butter, lfilter, resample_poly

sys.path.insert(0, str(Path(__file__).parents[1]))

from backbench.errors import Refusal
from backbench.signal.sweep import Transfer, transfer
from swept import Played, played

Array = np.ndarray
FAULTS = ("level step", "gap", "dropped block", "repeated block", "wow", "late start", "early end")
LEAD_S, TAIL_S = 0.1, 0.5
NEAR_DB = 0.1
FINER = 8


def sent_sweep(rng: np.random.Generator) -> Played:
    rate = float(rng.choice([48_000, 96_000]))
    return played(10.0, 22_000.0, rng.uniform(1.5, 4), TAIL_S, rate)


def _resonance(rng: np.random.Generator, rate: float) -> tuple[Array, Array]:
    """1 + k s w / Q / (s^2 + s w / Q + w^2): a rise or a dip."""
    w, q, k = 2 * np.pi * 10 ** rng.uniform(1.5, 4.2), rng.uniform(0.5, 5), rng.uniform(-0.8, 2)
    return bilinear([1, (1 + k) * w / q, w * w], [1, w / q, w * w], rate)


def _shelf(rng: np.random.Generator, rate: float) -> tuple[Array, Array]:
    w, k = 2 * np.pi * 10 ** rng.uniform(2, 3.8), 10 ** rng.uniform(-0.75, 0.75)
    return bilinear([1, w * k], [1, w], rate)


def unit(rng: np.random.Generator, sent: Played) -> Array:
    """What a random honest unit makes of a sweep: filters, a curve, hum and noise."""
    rate = sent.rate_hz
    volts = np.tanh if rng.random() < 0.3 else _cubic(rng)
    low, high = (
        butter(int(rng.integers(1, 5)), 10 ** rng.uniform(0.5, 1.9), "high", fs=rate),
        butter(int(rng.integers(1, 5)), 10 ** rng.uniform(3.7, 4.3), fs=rate),
    )
    result = lfilter(*low, sent.volts)
    if rng.random() < 0.5:
        result = lfilter(*_resonance(rng, rate), result)
    if rng.random() < 0.5:
        result = lfilter(*_shelf(rng, rate), result)
    finer = resample_poly(result, 4, 1)
    finer = volts(rng.uniform(0.05, 0.6) * finer / np.abs(finer).max())
    result = resample_poly(finer, 1, 4)
    result = lfilter(*high, result)
    return result / np.abs(result).max()


def wandering(rng: np.random.Generator, v: Array, rate: float) -> Array:
    """Through a medium whose speed flutters by up to 0.05 %."""
    t = np.arange(len(v)) / rate
    hz, depth = 10 ** rng.uniform(-0.3, 1.0), 10 ** rng.uniform(-4.3, -3.3)
    late = depth / (2 * np.pi * hz) * np.sin(2 * np.pi * hz * t + rng.uniform(0, 6))
    return _at(t + late, v, rate)


def _at(t: Array, v: Array, rate: float) -> Array:
    """The record at other instants, of a finer one so that none is drawn lower."""
    finer = resample_poly(v, FINER, 1)
    return np.interp(t, np.arange(len(finer)) / (FINER * rate), finer)


def _cubic(rng: np.random.Generator) -> Callable[[Array], Array]:
    second, third = 10 ** rng.uniform(-4, -1.0, 2)
    knee, sharp = rng.uniform(0.5, 2), float(rng.choice([2, 4, 8]))
    return lambda x: (
        (x + second * x**2 - third * x**3) / (1 + np.abs(x / knee) ** sharp) ** (1 / sharp)
    )


def spoilt(name: str, rng: np.random.Generator, v: Array, sent: Played) -> Array:
    rate, lasting = sent.rate_hz, sent.sweep.duration_s
    at = int((LEAD_S + rng.uniform(0.05, 0.95) * lasting) * rate)
    v, t = v.copy(), np.arange(len(v)) / rate
    if name == "level step":
        v[at:] *= 10 ** (rng.choice([-1, 1]) * rng.uniform(1, 3) / 20)
    elif name == "gap":
        v[at : at + int(rng.uniform(0.005, 0.02) * rate)] = 0
    elif name == "dropped block":
        v = np.delete(v, slice(at, at + int(rng.uniform(1e-3, 0.02) * rate)))
    elif name == "repeated block":
        length = int(rng.uniform(1e-3, 0.02) * rate)
        v = np.insert(v, at, v[at - length : at])
    elif name == "wow":
        hz, depth = rng.uniform(0.5, 6), rng.uniform(0.003, 0.006)
        late = depth / (2 * np.pi * hz) * np.sin(2 * np.pi * hz * t + rng.uniform(0, 6))
        v = _at(t + late, v, rate)
    elif name == "late start":
        v[: int((LEAD_S + rng.uniform(0.1, 0.4) * lasting) * rate)] = 0
    else:
        v[int((LEAD_S + rng.uniform(0.6, 0.95) * lasting) * rate) :] = 0
    return v


def noisy(rng: np.random.Generator, v: Array, rate: float) -> Array:
    rms = float(np.sqrt(np.mean(v * v)))
    t = np.arange(len(v)) / rate
    lines = [10 ** rng.uniform(-5, -2.3) * np.sin(100 * np.pi * n * t + n) for n in (1, 2, 3, 4)]
    hum = sum(lines)
    return v + rms * (hum + 10 ** rng.uniform(-5, -2) * rng.normal(size=len(v)))


def measured(sent: Played, v: Array) -> Transfer | None:
    try:
        return transfer(sent.volts, v, sent.rate_hz, sent.sweep)
    except Refusal as why:
        measured.why = str(why)  # type: ignore[attr-defined]
        return None


def _re_1_khz(result: Transfer) -> tuple[Array, Array]:
    middle = int(np.abs(result.frequency_hz - 1000).argmin())
    db = 20 * np.log10(np.abs(result.ratio))
    return db - db[middle], 8.686 * result.noise / np.abs(result.ratio)


def near(result: Transfer, sound: Transfer) -> bool:
    audio = (sound.frequency_hz >= 20) & (sound.frequency_hz <= 20_000)
    (db, u), (exact, _) = _re_1_khz(result), _re_1_khz(sound)
    strong = audio & (exact > -20)
    return bool((np.abs(db - exact) < np.maximum(NEAR_DB, 2.5 * u))[strong].mean() > 0.95)


def main(honest: int, draws: int, first: int, names: tuple[str, ...]) -> None:
    refused = 0
    for seed in range(first, first + honest):
        rng = np.random.default_rng([1, seed])
        sent = sent_sweep(rng)
        clean = unit(rng, sent)
        clean = wandering(rng, clean, sent.rate_hz) if seed % 4 == 0 else clean
        if measured(sent, noisy(rng, clean, sent.rate_hz)) is None:
            refused += 1
            print("honest", seed, measured.why)  # type: ignore[attr-defined]
    print(f"honest: {refused} of {honest} refused")
    for name in names:
        refused = covered = 0
        for seed in range(first, first + draws):
            rng = np.random.default_rng([2, seed])
            sent = sent_sweep(rng)
            clean = unit(rng, sent)
            result = measured(sent, noisy(rng, spoilt(name, rng, clean, sent), sent.rate_hz))
            if result is None:
                refused += 1
                continue
            sound = measured(sent, clean)
            held = sound is not None and near(result, sound)
            covered += held
            if not held:
                print(name, "missed", seed, None if sound else measured.why)  # type: ignore[attr-defined]
        print(f"{name}: {refused} refused, {covered} covered, of {draws}", flush=True)


if __name__ == "__main__":
    wanted = argparse.ArgumentParser(description=__doc__)
    wanted.add_argument("--honest", type=int, default=500, help="units")
    wanted.add_argument("--draws", type=int, default=100, help="of each fault")
    wanted.add_argument("--first", type=int, default=1000, help="seed of the first draw")
    wanted.add_argument("--faults", default=",".join(FAULTS))
    given = wanted.parse_args()
    main(given.honest, given.draws, given.first, tuple(filter(None, given.faults.split(","))))
