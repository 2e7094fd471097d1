"""Random numbers that depend on a name alone: the same on every machine and for every worker."""

from __future__ import annotations

import hashlib

import numpy as np


def generator_for(*names: object) -> np.random.Generator:
    """A PCG64 generator seeded from the sha256 of the names."""
    digest = hashlib.sha256("/".join(str(name) for name in names).encode()).digest()
    return np.random.Generator(np.random.PCG64(int.from_bytes(digest[:16], "big")))


def spread(rng: np.random.Generator, median: float, sigma: float) -> float:
    """A log-normal draw: median and standard deviation of the natural logarithm."""
    return float(median * np.exp(sigma * rng.standard_normal()))
