"""Writes the checked-in tables again: python -m backbench.seed_dataset.table_examples

A review of a unit that isn't there, of nothing but tables and traces: one in each shape.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

FOLDER = Path(__file__).parent / "example_tables"
HZ = np.geomspace(10, 40_000, 37)
OUTPUT_OHM = 0.4 + 2j * np.pi * HZ * 10e-6


def _text(heading: str, columns: list[np.ndarray], formats: list[str], separator: str) -> str:
    rows = zip(*columns, strict=True)
    lines = (separator.join(f % v for f, v in zip(formats, row, strict=True)) for row in rows)
    return heading + "\n".join(lines) + "\n"


def _responses() -> dict[str, str]:
    left, right = (-10 * np.log10(1 + (low / HZ) ** 2 + (HZ / high) ** 2)
                   for low, high in ((8, 45_000), (9, 42_000)))  # fmt: skip
    both = _text("", [HZ, left, right], ["%.2f", "%.3f", "%.3f"], ";").replace(".", ",")
    files = {"response.csv": f"* Swept at 1 W\nFreq (Hz);Left (dB);Right (dB)\n{both}"}
    for name, ohm in (("open", np.inf), ("loaded", 8.0)):
        volts = 2.0 / (1 + 1j * HZ / 60_000) / (1 + OUTPUT_OHM / ohm)
        columns = [HZ, np.abs(volts), np.degrees(np.angle(volts))]
        heading = "f\tVout\tphi\nHz\tV\tdeg\n"
        files[f"{name}.txt"] = _text(heading, columns, ["%.2f", "%.6f", "%.4f"], "\t")
    columns = [HZ, OUTPUT_OHM.real, OUTPUT_OHM.imag]
    files["impedance.dat"] = _text("! Output\n", columns, ["%.2f", "%.5f", "%.5f"], "  ")
    return files


def _stepped(volts: np.ndarray, bits: int = 8) -> np.ndarray:
    step = 2.5 * float(np.ptp(volts)) / 2 / 2**bits
    return np.asarray(np.round(volts / step) * step)


def _traces() -> dict[str, str]:
    rng = np.random.default_rng(5)
    time = np.arange(1000) * 1e-5
    sine = 0.632 * np.sin(2 * np.pi * 1000 * time) + rng.normal(0, 2e-3, 1000)
    preamble = '"Sample interval (s)",1.0E-05\n"Start (s)",-5.0E-03\nCH1 (V)\n'
    short = np.arange(1500) * 2e-6
    edge = 1 - 2 * np.exp(-(short % 5e-4) / 8e-6)
    square = np.where(short * 1000 % 1 < 0.5, edge, -edge)
    long = np.arange(2400) * 5e-5
    fine = np.arange(4800) * 2.5e-5
    burst = np.where((fine + 0.045) % 0.05 < 0.02, 4 * np.sin(2000 * np.pi * fine), 0)
    supply = 3.2 + 0.02 * np.cos(200 * np.pi * long) + 0.004 * np.cos(400 * np.pi * long + 1)
    return {
        "sine.csv": _text(preamble, [_stepped(sine)], ["%.5f"], ","),
        "square.csv": _text("Time (ms),CH1 (V)\n", [1e3 * short, _stepped(square, 10)],
                            ["%.4f", "%.5f"], ","),
        "burst.csv": _text("Time (s),CH1 (V)\n", [fine, _stepped(burst, 10)],
                           ["%.6f", "%.4f"], ","),
        "ripple.csv": _text("Time (s),CH1 (V)\n", [long, supply + rng.normal(0, 2e-4, 2400)],
                            ["%.5f", "%.4f"], ","),
    }  # fmt: skip


def _distortions() -> dict[str, str]:
    power = np.array([0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 20.0])
    thd = 0.02 + 0.9 * (power / 18) ** 6
    hz = np.geomspace(20, 20_000, 31)
    bins = np.arange(1201) * 20.0
    floor = -112 + np.random.default_rng(6).normal(0, 2, 1201)
    lobe = np.array([-60.0, -6.0, 0.0, -6.0, -60.0])
    for order, level in ((1, 16.0), (2, -50.0), (3, -62.0)):
        place = slice(50 * order - 2, 50 * order + 3)
        floor[place] = np.maximum(floor[place], level + lobe)
    return {
        "distortion-over-power.csv": _text("Power (W),THD (%),THD+N (%)\n",
                                           [power, thd, np.hypot(thd, 0.01 / np.sqrt(power))],
                                           ["%.1f", "%.4f", "%.4f"], ","),
        "distortion-over-frequency.csv": _text("Frequency (Hz),THD+N (dB)\n",
                                               [hz, -72 + 4 * np.log10(hz / 1000) ** 2],
                                               ["%.1f", "%.2f"], ","),
        "harmonics.csv": _text("Harmonic,Level (dBV)\n", [np.arange(1, 11), np.array(
            [16.0, -50, -62, -74, -80, -88, -91, -96, -99, -102])], ["%d", "%.1f"], ","),
        "spectrum.csv": _text("Frequency (Hz),Level (dBV)\n", [bins, floor],
                              ["%.0f", "%.2f"], ","),
    }  # fmt: skip


def write_tables(folder: Path) -> None:
    """All files of the review but its manifest, `review.toml`, which stands as written."""
    folder.mkdir(parents=True, exist_ok=True)
    makers: tuple[Callable[[], dict[str, str]], ...] = (_responses, _traces, _distortions)
    for make in makers:
        for name, text in make().items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
    time = np.arange(1000) * 1e-5
    words = np.round(0.6 * 16_384 * np.sin(2 * np.pi * 1000 * time + 0.2)).astype("<i2")
    (folder / "sine.bin").write_bytes(words.tobytes())


if __name__ == "__main__":
    write_tables(FOLDER)
