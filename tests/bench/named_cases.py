"""Records outside the model of a steady tone or of plain noise: what is reported of each.

Run by hand: python tests/bench/named_cases.py, which prints the first table of CASES.md beside it.
"Earlier" is what an earlier version gave, "now" is measured by this script. The named test holds
the kind.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from backbench.documents.manifest import Conditions
from backbench.metrics.declaration import CaptureData
from backbench.metrics.measurement import measure
from backbench.signal.track import Array, Track
from tones import idle_material, sines, tone_material, track

RATE = 48_000.0
T = np.arange(int(RATE)) / RATE
LONGEST = 150


class Case(NamedTuple):
    """One record: what it is, what was reported of it earlier, the metrics, the test."""

    name: str
    earlier: str
    metrics: tuple[str, ...]
    record: Callable[[], CaptureData]
    test: str


def noise(rms: float = 1e-5, seed: int = 1, rate: float = RATE, seconds: float = 1.0) -> Array:
    return np.random.default_rng(seed).normal(0, rms, int(rate * seconds))


def clean(hz: float = 997.0) -> Array:
    return sines(RATE, 1.0, {hz: 3.0, 2 * hz: 3e-4}) + noise()


def tone(volts: Array, hz: float = 997.0, **kept: object) -> CaptureData:
    return tone_material(track(volts), hz=hz, **kept)


def gaps() -> Array:
    volts = clean()
    for at in (9_000, 23_000, 40_000):
        volts[at : at + 29] = 0.0
    return volts


def buzz() -> Array:
    multiples = {50.0 * n: 1e-3 for n in range(2, 100, 2)}
    return sines(RATE, 1.0, {1000.0: 3.0, 2000.0: 3e-4}) + sines(RATE, 1.0, multiples) + noise()


def at_20_khz() -> CaptureData:
    rate = 96_000.0
    wave = np.clip(sines(rate, 1.0, {20_000.0: 3.0}), -2.0, 2.0)
    # The converter's filter leaves the fundamental of the clipped wave.
    bins = np.fft.rfft(wave)
    bins[int(0.45 * rate) :] = 0
    return tone_material(track(np.fft.irfft(bins) + noise(rate=rate), rate), hz=20_000.0)


def crackle() -> Array:
    volts = clean()
    for at in np.random.default_rng(3).integers(0, len(volts), 40):
        volts[at] += 0.02
    return volts


def contradicted_power() -> CaptureData:
    """2.83 V across 8 ohm is 1 W."""
    volts = sines(RATE, 1.0, {997.0: 4.0}) + noise()
    return tone(volts, conditions=Conditions(load_ohm=8.0, power_w=2.0))


def converter_alone_at_another_level() -> CaptureData:
    def through(peak: float, seed: int) -> Array:
        wave = sines(RATE, 1.0, {997.0: peak})
        return np.asarray(wave + 1e-5 * wave**3 + noise(1e-6, seed))

    return tone(through(4.0, 1), bench=tone(through(0.5, 2)))


def short_words() -> CaptureData:
    """An undithered 16-bit tone, 24 bits in the file."""
    step = 20 / 2.0**16
    volts = np.round(sines(RATE, 1.0, {1000.0: 0.01}) / step) * step
    return tone_material(Track(volts, RATE, 10.0, 0.0, 24), hz=1000.0)


def copied() -> CaptureData:
    return tone_material(track(clean()), track(clean()), hz=997.0)


STEADY = "tests/signal/test_steadiness.py"
CASES = (
    Case("a tone that falls by 15 dB", "steady, +/- 1 uV", ("level",),
         lambda: tone(clean() * 10 ** (-15 / 20 * T)), STEADY),
    Case("a step of 1 dB", "THD+N 2.2 %", ("thd_n",),
         lambda: tone(clean() * np.where(T > 0.6, 10 ** (-1 / 20), 1.0)), STEADY),
    Case("three gaps of 29 zeros", "THD+N 4 % +/- 0.1", ("thd_n",), lambda: tone(gaps()), STEADY),
    Case("a repeated block", "passed", ("thd_n",),
         lambda: tone(np.insert(clean(), 30_000, clean()[29_500:30_000])), STEADY),
    Case("wow of 0.05 % at 4 Hz", "passed", ("thd_n", "snr"),
         lambda: tone(3 * np.sin(2 * np.pi * 997 * (T + 2e-5 * np.sin(2 * np.pi * 4 * T)))
                      + noise()), "tests/metrics/test_steady_captures.py"),
    Case("crackle, 40 clicks a second", "error of 13 u and more", ("snr",),
         lambda: tone(crackle()), STEADY),
    Case("clipping at 20 kHz, 96 kHz file", "THD 0.0003 %", ("thd",), at_20_khz,
         "tests/metrics/test_harmonic_band.py"),
    Case("1 kHz over rectifier buzz of 50 Hz mains", "THD + 157 %, no uncertainty", ("thd", "snr"),
         lambda: tone(buzz(), hz=1000.0), "tests/metrics/test_mains_under_a_tone.py"),
    Case("50 Hz stated, 60 Hz hum", "measured", ("mains_line", "hum"),
         lambda: idle_material(track(sines(RATE, 1.0, {60.0 * n: 1e-3 / n for n in range(1, 9)})
                                     + noise())), "tests/metrics/test_mains_under_a_tone.py"),
    Case("2 W stated, 1 W found", "passed", ("output_power",), contradicted_power,
         "tests/metrics/test_capture_warnings.py"),
    Case("tones recorded as idle", "measured", ("noise",),
         lambda: idle_material(track(sines(RATE, 1.0, {277.0: 0.1, 523.0: 0.1, 1760.0: 0.1})
                                     + noise())), "tests/metrics/test_noise_metrics.py"),
    Case("10 mV of tones recorded as idle", "measured", ("noise",),
         lambda: idle_material(track(sines(RATE, 1.0, {277.0: 5e-3, 523.0: 5e-3, 1760.0: 5e-3})
                                     + noise(1e-7))), "tests/metrics/test_noise_metrics.py"),
    Case("a converter's cubic, loop-back 18 dB lower", "credited to the unit", ("thd",),
         converter_alone_at_another_level, "tests/metrics/test_bench_at_levels.py"),
    Case("an undithered 16-bit tone saved as 24 bits", "SNR 310 dB", ("snr", "thd"), short_words,
         "tests/metrics/test_sample_steps.py"),
    Case("a copied track", "balance 0 +/- 0.001 dB", ("level",), copied,
         "tests/metrics/test_capture_warnings.py"),
    Case("40 mV at 23.4 kHz with nothing playing", "not reported", ("ultrasonic_line",),
         lambda: idle_material(track(sines(96_000.0, 1.0, {23_400.0: 0.057})
                                     + noise(rate=96_000.0), 96_000.0)),
         "tests/metrics/test_capture_warnings.py"),
    Case("noise at 44.1 kHz under a header of 48 kHz, no tone in its session",
         "measured, without a word", ("noise", "hum"),
         lambda: idle_material(track(noise(rate=44_100.0))), "tests/metrics/test_recorder_rate.py"),
)  # fmt: skip


def reported(case: Case) -> str:
    """What each metric of a case gives, in words."""
    lines = []
    for finding in measure(case.record())[0]:
        if finding.metric.name not in case.metrics or finding.track != 1:
            continue
        figure, unit = finding.figure, finding.metric.unit
        if figure is None:
            text = f"{finding.status}: {finding.reason or ''}"
        else:
            bound = {"upper": "at most ", "lower": "at least "}.get(figure.bound or "", "")
            width = "" if figure.bound else f" (u {figure.uncertainty:.2g})"
            text = f"{bound}{figure.value:.4g} {unit}{width}"
            text += f"; {figure.remark}" if figure.remark else ""
        lines.append(f"{finding.metric.name} {text[:LONGEST]}")
    return "<br>".join(dict.fromkeys(lines)) or "nothing"


def main() -> None:
    print("| record | earlier | now | held by |\n| --- | --- | --- | --- |")
    for case in CASES:
        words = reported(case).replace("|", "/")
        print(f"| {case.name} | {case.earlier} | {words} | `{case.test}` |", flush=True)


if __name__ == "__main__":
    main()
