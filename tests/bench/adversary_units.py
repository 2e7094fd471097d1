"""Random units: transfer curves with their exact lines, and noise of known density."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

Array = np.ndarray
Curve = Callable[[Array], Array]
FAINTEST = 1e-9
"""Lines so far below the drive are left out, relative."""
POINTS = 4096


@dataclass(frozen=True)
class Line:
    """A sine: frequency in Hz, peak volts, phase in rad (cosine) and order re its fundamental.

    played: whether it is one of the tones that were played, not a product of them.
    """

    hz: float
    peak: float
    phase: float
    order: tuple[int, ...] = ()
    played: bool = False


def draw_curve(rng: np.random.Generator) -> Curve:
    """Output over input, both relative to the peak drive of 1: a random kind of curve."""
    kind = rng.choice(["polynomial", "crossover", "knee", "one-sided"])
    if kind == "polynomial":
        terms = 10 ** rng.uniform(-6, -2, 4) * rng.choice([-1, 1], 4)
        return lambda x: x + sum(k * x**n for n, k in enumerate(terms, start=2))
    if kind == "crossover":
        gap = 10 ** rng.uniform(-4, -2)
        return lambda x: x - gap * np.tanh(x / (3 * gap))
    if kind == "knee":
        limit, sharp = rng.uniform(1.0, 3.0), float(rng.choice([2, 4, 8, 16]))
        return lambda x: x / (1 + np.abs(x / limit) ** sharp) ** (1 / sharp)
    bend = rng.uniform(0.02, 0.5)
    return lambda x: np.tanh(bend * x + 0.3 * bend**2 * x**2) / bend


def harmonics(curve: Curve, peak: float, hz: float, highest_hz: float, phase: float) -> list[Line]:
    """Lines of a sine of that peak through a curve, up to a frequency; the mean is left out."""
    angle = 2 * np.pi * np.arange(POINTS) / POINTS
    result = np.fft.rfft(peak * curve(np.cos(angle))) / (POINTS / 2)
    orders = range(1, min(int(highest_hz / hz), 200) + 1)
    return [
        Line(n * hz, float(abs(result[n])), float(np.angle(result[n])) + n * phase, (n,), n == 1)
        for n in orders
        if abs(result[n]) > FAINTEST * peak
    ]


def products(
    curve: Curve, peaks: tuple[float, float], hz: tuple[float, float], highest_hz: float,
    phases: tuple[float, float], most: int = 6,
) -> list[Line]:  # fmt: skip
    """Lines m f1 + n f2 of two sines through a curve, |m| and |n| up to `most`."""
    size = 256
    angle = 2 * np.pi * np.arange(size) / size
    whole = sum(peaks)
    x = (peaks[0] * np.cos(angle)[:, None] + peaks[1] * np.cos(angle)[None, :]) / whole
    result = 2 * np.fft.fft2(whole * curve(x)) / size**2
    lines = []
    for m in range(-most, most + 1):
        for n in range(most + 1):
            at = m * hz[0] + n * hz[1]
            value = result[m % size, n % size]
            if (n == 0 and m <= 0) or abs(value) < FAINTEST * whole or abs(at) > highest_hz:
                continue
            turn = float(np.angle(value)) + m * phases[0] + n * phases[1]
            played = abs(m) + n == 1
            lines.append(Line(abs(at), float(abs(value)), np.sign(at) * turn, (m, n), played))
    return lines


@dataclass(frozen=True)
class Noise:
    """A stationary noise: power density over frequency in V^2/Hz."""

    density: Callable[[Array], Array]

    def volts(self, rng: np.random.Generator, rate: float, count: int) -> Array:
        """Gaussian samples of that density, cut from a longer circular record."""
        longer = 1 << int(np.ceil(np.log2(1.3 * count)))
        shape = np.sqrt(self.density(np.maximum(np.fft.rfftfreq(longer, 1 / rate), 0.1)))
        white = np.fft.rfft(rng.standard_normal(longer))
        return np.fft.irfft(white * shape * np.sqrt(rate / 2), longer)[:count]


def draw_density(rng: np.random.Generator, corner_hz: float) -> Noise:
    """White noise that rises as 1/f below a corner."""
    white = 10 ** rng.uniform(-14, -10)
    return Noise(lambda f: white * (1 + corner_hz / np.maximum(f, 0.5)))


def telegraph_density(step_v: float, rate_hz: float) -> Callable[[Array], Array]:
    """Density of a random telegraph signal of +- step_v that turns rate_hz times a second.

    Closed form: the autocorrelation is step^2 exp(-2 rate |t|).
    """
    k = 2 * rate_hz
    return lambda f: 4 * step_v**2 * k / (k**2 + (2 * np.pi * f) ** 2)


def mains_family(rng: np.random.Generator, hz: float, rms: float, kind: str) -> list[Line]:
    """Mains lines of one cause: stray field, ripple, or the buzz of a rectifier."""
    if kind == "field":
        shares = {1: 1.0, 2: 0.1, 3: 0.4, 5: 0.2, 7: 0.05}
    elif kind == "ripple":
        shares = {n: 1.0 / (n / 2) ** 2 for n in range(2, 14, 2)} | {1: 0.05}
    else:
        shares = {n: 1.0 / (1 + (n / 20) ** 2) for n in range(2, 160, 2)}
    whole = np.sqrt(sum(s**2 for s in shares.values()))
    return [
        Line(n * hz, np.sqrt(2) * rms * s / whole, rng.uniform(0, 2 * np.pi), (n,))
        for n, s in shares.items()
    ]
