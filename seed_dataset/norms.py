"""What is usual for a technology and a topology in the invented scenario (medians of draws).

The figures are plausible by common practice; no source.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Norm:
    """Medians for a technology: source_ohm at the 8 ohm terminals; hiss and hum in V rms at
    the output for a gain of 27 dB; separation at 1 kHz; sag is the supply's resistance."""

    source_ohm: float
    hiss_v: float
    hum_v: float
    input_hz: float
    output_hz: float
    high_hz: float
    high_q: float
    separation_db: float
    sag_ohm: float
    gain_db: float
    treble_hz: float
    core: float


NORMS = {
    "tube": Norm(0.75, 150e-6, 500e-6, 4.0, 7.0, 48e3, 0.72, 54, 0.9, 29, 6e3, 0.004),
    "solid state": Norm(0.075, 60e-6, 60e-6, 3.0, 0.0, 110e3, 0.60, 66, 0.8, 29, 5e3, 0.0),
    "hybrid": Norm(0.13, 95e-6, 110e-6, 3.5, 0.0, 85e3, 0.62, 60, 0.6, 28, 7e3, 0.0),
    "switching": Norm(0.035, 85e-6, 16e-6, 4.0, 0.0, 52e3, 0.75, 70, 0.25, 26, 3e3, 0.0),
}
PREAMPLIFIERS = {
    "tube": Norm(900.0, 14e-6, 40e-6, 4.0, 3.0, 120e3, 0.55, 58, 60.0, 14, 30e3, 0.0),
    "solid state": Norm(160.0, 5e-6, 5e-6, 2.0, 1.0, 210e3, 0.55, 76, 20.0, 12, 30e3, 0.0),
    "hybrid": Norm(240.0, 8e-6, 12e-6, 2.0, 1.5, 160e3, 0.55, 68, 30.0, 12, 30e3, 0.0),
}


@dataclass(frozen=True)
class Shape:
    """Medians of the nonlinearity for a topology, coefficients relative to the rail."""

    even: float
    cubic: float
    fifth: float
    knee: float
    crossover: float = 0.0
    source_factor: float = 1.0
    hum_factor: float = 1.0


# The first topology word that matches decides; the order is from special to general.
SHAPES = (
    ("single-ended triode", Shape(0.030, -0.006, 0.002, 5.0, 0.0, 3.0, 1.6)),
    ("single-ended", Shape(0.026, -0.012, 0.004, 6.0, 0.0, 1.8, 1.5)),
    ("push-pull triode", Shape(0.003, -0.008, 0.002, 8.0, 0.0, 1.6, 0.9)),
    ("ultralinear", Shape(0.0020, -0.007, 0.003, 10.0, 0.0, 0.7, 0.9)),
    ("push-pull", Shape(0.0025, -0.010, 0.004, 10.0)),
    ("quasi-complementary", Shape(0.0010, -0.0015, 0.0010, 20.0, 0.010, 2.0, 1.5)),
    ("class A output", Shape(0.0020, -0.0006, 0.0002, 14.0)),
    ("tube input", Shape(0.0022, -0.0008, 0.0003, 16.0, 0.0006)),
    ("tube driver", Shape(0.0030, -0.0020, 0.0010, 14.0, 0.0060, 2.0, 1.5)),
    ("tube gain", Shape(0.0040, -0.0006, 0.0001, 10.0)),
    ("class AB", Shape(0.0003, -0.0004, 0.0002, 24.0, 0.0008)),
    ("class A", Shape(0.0004, -0.0002, 0.0001, 18.0)),
    ("class B", Shape(0.0010, -0.0010, 0.0004, 22.0, 0.0200)),
    ("class D", Shape(0.0003, -0.0009, 0.0006, 20.0, 0.0030)),
    ("cathode follower", Shape(0.0050, -0.0008, 0.0002, 6.0)),
    ("anode follower", Shape(0.0040, -0.0012, 0.0003, 6.0)),
    ("", Shape(0.0002, -0.0002, 0.0001, 22.0)),
)  # fmt: skip

# How much of the wear of age is left, by state.
WEAR = {"as received": 1.0, "modified": 0.45, "serviced": 0.5, "restored": 0.15}


def norm_for(technology: str, *, preamplifier: bool) -> Norm:
    return (PREAMPLIFIERS if preamplifier else NORMS)[technology]


def shape_for(topology: str) -> Shape:
    return next(shape for words, shape in SHAPES if words in topology)
