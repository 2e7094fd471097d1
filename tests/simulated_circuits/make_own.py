"""Captures and truth of the circuits under own/, from ngspice.

Run by hand where ngspice is installed: python tests/simulated_circuits/make_own.py. Truth is what
the simulator itself tells (`fourier`, `.ac`, `meas`); captures are its waveforms, band-limited,
with a little noise and 24-bit dither.
"""

from __future__ import annotations

import json
import math
import re
import subprocess
import tempfile
from pathlib import Path

import numpy as np
import soundfile
from scipy.interpolate import CubicSpline

OWN = Path(__file__).parent / "own"
TONE_RATE, SWEEP_RATE, SQUARE_RATE = 96_000, 48_000, 192_000
SQUARE_HZ = 200.0
SETTLED_S = 0.1
"""From when on a period of the square wave is taken."""
SWEEP_HZ, SWEEP_S = (20.0, 20_000.0), 1.0
LEVELS = {  # peak volts of the generator; full scale of the output's track
    "line_stage": {"low": 0.2, "high": 1.0},
    "follower_amplifier": {"low": 0.02, "high": 0.6},
}
FULL_SCALE = {"line_stage": 40.0, "follower_amplifier": 20.0, "damped_network": 4.0}
LEAST_HARMONIC = 1e-5
"""Below this a harmonic comes near the noise that the capture is given."""
LOADS = {"line_stage": (100_000.0, 22_000.0), "follower_amplifier": (8.0, 4.0)}
STATE_V = 2 * 4000 / 4300
"""Magnitude of the damped network's states for 1 V in: buffer of 2, then a resistive divider."""


def run(case: str, control: str, **values: object) -> tuple[str, np.ndarray]:
    """The simulator's printed output, and the columns that it wrote to o.txt (if any)."""
    deck = (OWN / "netlists" / f"{case}.cir").read_text()
    for name, value in values.items():
        deck = deck.replace("{" + name + "}", str(value))
    deck += f"\n.control\nset numdgt=12\nset wr_singlescale\n{control}\nquit 0\n.endc\n.end\n"
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "deck.cir").write_text(deck)
        done = subprocess.run(
            ["ngspice", "-b", "deck.cir"], cwd=folder, capture_output=True, text=True, check=False
        )
        written = Path(folder) / "o.txt"
        data = np.loadtxt(written) if written.exists() else np.empty((0, 0))
    return done.stdout + done.stderr, data


def harmonics_of(printed: str) -> list[float]:
    """Peak volts by order from 0, as `fourier` prints them."""
    rows = re.findall(r"^ *(\d+) +([\d.e+-]+) +([\d.e+-]+) +[\d.e+-]+ +[\d.e+-]+ +", printed, re.M)
    return [float(magnitude) for _, _, magnitude in rows]


def tone(case: str, peak: float, load: float) -> tuple[list[float], np.ndarray]:
    """Harmonics by `fourier`, and one period of the output."""
    control = (
        "set nfreqs=21\nset fourgridsize=8192\nset polydegree=3\nsave v(out)\n"
        "tran 0.5u 0.06 0.05 0.5u\nfourier 1000 v(out)\nwrdata o.txt v(out)"
    )
    printed, data = run(case, control, AMP=peak, LOAD=load, PROBE=0, ACIN=0)
    return harmonics_of(printed), data


def period(data: np.ndarray, seconds: float, harmonics: int) -> np.ndarray:
    """Complex peak amplitudes by order of the last period of a waveform."""
    last = data[-1, 0]
    t = last - seconds + seconds * np.arange(8192) / 8192
    bins = np.fft.rfft(CubicSpline(data[:, 0], data[:, 1])(t)) / 8192
    return np.concatenate([bins[:1], 2 * bins[1 : harmonics + 1]])


def synthesised(amplitudes: np.ndarray, hz: float, rate: int, seconds: float) -> np.ndarray:
    turns = 2 * np.pi * hz * np.arange(round(rate * seconds)) / rate
    return sum((a * np.exp(1j * n * turns)).real for n, a in enumerate(amplitudes))


def written(path: Path, tracks: list[np.ndarray], full_scale: list[float], rate: int) -> None:
    """A 24-bit file: each track over its full scale, with noise of 1e-7 of it and dither."""
    rng = np.random.default_rng(len(path.name))
    steps = 2.0**23
    columns = []
    for volts, scale in zip(tracks, full_scale, strict=True):
        shape = len(volts)
        given = volts / scale * steps + rng.normal(0, 1e-7 * steps, shape)
        dither = rng.uniform(-0.5, 0.5, shape) + rng.uniform(-0.5, 0.5, shape)
        columns.append(np.rint(given + dither).astype(np.int32) << 8)
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, np.stack(columns, axis=1), rate, subtype="PCM_24", format="FLAC")


def value(capture: str | None, metric: str, number: float, tol: float, how: str, **same: object):  # type: ignore[no-untyped-def]
    """One truth: tolerance relative, but absolute for decibels."""
    return {"file": capture, "metric": metric, "value": number, "tol": tol, "source": how, **same}


def tone_truth(case: str) -> tuple[list[dict[str, object]], dict[str, np.ndarray]]:
    result, waves = [], {}
    takes = [(name, peak, LOADS[case][0]) for name, peak in LEVELS[case].items()]
    takes.append(("heavy", LEVELS[case]["low"], LOADS[case][1]))
    for name, peak, load in takes:
        file, how = f"tone_{name}.flac", f"ngspice fourier, {peak} V peak, {load:g} ohm"
        heights, data = tone(case, peak, load)
        waves[file] = period(data, 1e-3, 40)
        thd = 100 * math.sqrt(sum(h**2 for h in heights[2:11])) / heights[1]
        result += [
            value(file, "level", heights[1] / math.sqrt(2), 5e-4, how),
            value(file, "gain", 20 * math.log10(heights[1] / peak), 0.005, how),
        ]
        if thd > 100 * LEAST_HARMONIC:
            result.append(value(file, "thd", thd, 0.01, how))
        result += [
            value(file, "harmonic", 20 * math.log10(heights[n] / heights[1]), 0.1, how, order_n=n)
            for n in (2, 3)
            if heights[n] > LEAST_HARMONIC * heights[1]
        ]
    return result, waves


def source_impedance(case: str) -> float:
    """Resistive part at 1 kHz by `.ac`: 1 A into the output, no load.

    Two resistive loads tell this part; a reactive one as small as here adds in quadrature.
    """
    control = "ac lin 1 1000 1000\nwrdata o.txt vr(out)"
    _, data = run(case, control, AMP=0, LOAD=1e12, PROBE=1, ACIN=0)
    return float(np.atleast_2d(data)[0, 1])


def response() -> list[dict[str, object]]:
    """Gain at 1 kHz, levels re 1 kHz and -3 dB points by `.ac`."""
    control = "ac dec 1000 5 50k\nwrdata o.txt vdb(out)"
    _, data = run("damped_network", control, COUPLING="100n", SOURCE="vin in 0 dc 0 ac 1")
    curve, how = CubicSpline(np.log(data[:, 0]), data[:, 1]), "ngspice .ac"
    middle = float(curve(math.log(1000)))
    at = {hz: float(curve(math.log(hz))) - middle for hz in (50, 100, 500, 5000, 10_000)}
    below = data[:, 1] - middle + 10 * math.log10(2)
    low = int(np.argmax(below > 0))
    high = len(below) - 1 - int(np.argmax(below[::-1] > 0))
    points = [np.exp(np.interp(0, *_rising(data, below, i))) for i in (low, high + 1)]
    result = [value("sweep.flac", "gain", middle, 0.01, how),
             value("sweep.flac", "response_low_3db", float(points[0]), 5e-3, how),
             value("sweep.flac", "response_high_3db", float(points[1]), 5e-3, how)]  # fmt: skip
    return result + [
        value("sweep.flac", "response_at", level, 0.05, how, frequency_hz=float(hz))
        for hz, level in at.items()
    ]


def _rising(data: np.ndarray, below: np.ndarray, i: int) -> tuple[np.ndarray, np.ndarray]:
    levels, logs = below[i - 1 : i + 1], np.log(data[i - 1 : i + 1, 0])
    order = np.argsort(levels)
    return levels[order], logs[order]


def sweep() -> list[np.ndarray]:
    rate = math.log(SWEEP_HZ[1] / SWEEP_HZ[0]) / SWEEP_S
    turns = f"{2 * math.pi * SWEEP_HZ[0] / rate:.12g}*(exp(time*{rate:.12g})-1)"
    source = f"bin in 0 v=(time<{SWEEP_S})?0.5*sin({turns}):0"
    control = "save v(in) v(out)\ntran 2u 1.2 0 2u\nwrdata o.txt v(out) v(in)"
    _, data = run("damped_network", control, COUPLING="100n", SOURCE=source)
    t = np.arange(int(1.19 * SWEEP_RATE)) / SWEEP_RATE
    return [CubicSpline(data[:, 0], data[:, n])(t) for n in (1, 2)]


def square() -> tuple[list[dict[str, object]], np.ndarray, np.ndarray]:
    # The capacitor starts charged to the low level, so the states are 0 and twice STATE_V; the
    # capture is without its steady part, as behind a coupled input.
    low, high = 0.2 * STATE_V, 1.8 * STATE_V
    control = (
        "save v(in) v(out)\n"
        f"tran 0.25u {SETTLED_S + 1 / SQUARE_HZ} {SETTLED_S} 0.25u\n"
        f"meas tran rise trig v(out) val={low} rise=1 targ v(out) val={high} rise=1\n"
        "meas tran vmax max v(out)\nwrdata o.txt v(out) v(in)"
    )
    source = "vin in 0 pulse(-1 1 1.25m 0.1u 0.1u 2.4999m 5m)"
    printed, data = run("damped_network", control, COUPLING="1", SOURCE=source)
    rise = float(re.findall(r"^rise *= *([\d.e+-]+)", printed, re.M)[0])
    most = float(re.findall(r"^vmax *= *([\d.e+-]+)", printed, re.M)[0])
    over = 100 * (most - 2 * STATE_V) / (2 * STATE_V)
    result = [value("square.flac", "rise_time", rise, 0.02, "ngspice meas"),
             value("square.flac", "overshoot", over, 0.02, "ngspice meas")]  # fmt: skip
    wave = period(data, 1 / SQUARE_HZ, 425)
    wave[0] = 0
    generator = period(data[:, [0, 2]], 1 / SQUARE_HZ, 425)
    return result, wave, generator


def truth_of(case: str) -> tuple[list[dict[str, object]], dict[str, np.ndarray]]:
    """What the simulator tells of a circuit, and its steady waveforms by file."""
    if case == "damped_network":
        result, wave, generator = square()
        return response() + result, {"square.flac": wave, "generator": generator}
    result, waves = tone_truth(case)
    impedance = source_impedance(case)
    how = "ngspice .ac, 1 A at 1 kHz"
    return [*result, value(None, "source_impedance", impedance, 0.01, how)], waves


def make(case: str) -> None:
    result, waves = truth_of(case)
    scale = FULL_SCALE[case]
    generator = waves.pop("generator", None)
    for file, amplitudes in waves.items():
        tracks, scales, rate, hz, seconds = [amplitudes], [scale], TONE_RATE, 1000.0, 0.4
        if generator is not None:
            tracks, scales = [amplitudes, generator], [40.0, 2.0]
            rate, hz, seconds = SQUARE_RATE, SQUARE_HZ, 0.3
        volts = [synthesised(track, hz, rate, seconds) for track in tracks]
        written(OWN / case / file, volts, scales, rate)
    if case == "damped_network":
        written(OWN / case / "sweep.flac", sweep(), [scale, 1.0], SWEEP_RATE)
    (OWN / case / "truth.json").write_text(json.dumps(result, indent=1) + "\n")


if __name__ == "__main__":
    for one in FULL_SCALE:
        make(one)
