"""The parameters of one output of one unit in one review, drawn from its names."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backbench.seed_dataset.draws import generator_for, spread
from backbench.seed_dataset.norms import WEAR, Norm, Shape, norm_for, shape_for
from backbench.seed_dataset.rolloff import RollOff
from backbench.seed_dataset.scenario import Review, Unit
from backbench.seed_dataset.shelves import FLAT, Shelves
from backbench.seed_dataset.transfer import Transfer, amplitude_at

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
REFERENCE_HZ = np.array([1000.0])
COIL_H = 5e-6
"""In series with the output of a solid-state amplifier that has one (common practice, no source).
"""
NOMINAL_OHM = 8.0
RATING_THD = 0.01
MAINS_ORDERS = (1, 2, 3, 4, 5, 6)
# Relative strength of the orders: stray field of a transformer, ripple of a full-wave rectifier.
FIELD = np.array([1.0, 0.05, 0.45, 0.03, 0.2, 0.02])
RIPPLE = np.array([0.1, 1.0, 0.05, 0.35, 0.03, 0.18])


@dataclass(frozen=True)
class Behaviour:
    """What one output does.

    gain: EMF over generator EMF at 1 kHz (ratio, > 0), apart from the crossover's share.
    polarity: +1 or -1. source_ohm, coil_h: output source impedance, a resistance and a coil in
        series.
    rail_v: peak EMF of the clipper without load; sag_ohm: load that would halve it.
    hiss_v: white noise, V rms in 20 Hz-20 kHz. mains_v: V rms of orders 1..6.
    offset_v: DC at the output. crosstalk: part of the neighbour's EMF at 1 kHz (capacitive).
    """

    gain: float
    polarity: int
    source_ohm: float
    rail_v: float
    sag_ohm: float
    transfer: Transfer
    roll_off: RollOff
    hiss_v: float
    mains_v: tuple[float, ...]
    offset_v: float
    crosstalk: float
    coil_h: float = 0.0
    shelves: Shelves = FLAT

    def ceiling(self, load_ohm: float) -> float:
        """What a load (inf for open) leaves of the rail: a ratio in 0..1."""
        return 1.0 / (1.0 + self.sag_ohm / load_ohm)

    def source_at(self, frequency_hz: Array) -> Complex:
        """Source impedance, ohm."""
        return np.asarray(self.source_ohm + 2j * np.pi * frequency_hz * self.coil_h)

    def divided(self, load_ohm: float, frequency_hz: Array) -> Complex:
        """Terminal voltage over EMF with a load (inf for open)."""
        return np.asarray(1.0 / (1.0 + self.source_at(frequency_hz) / load_ohm))

    def divider(self, load_ohm: float) -> float:
        """Magnitude of that at 1 kHz."""
        return float(abs(self.divided(load_ohm, REFERENCE_HZ)[0]))

    def before(self, frequency_hz: Array) -> Complex:
        """Input coupling and tone controls, 1 at 1 kHz with the controls flat."""
        coupled = self.roll_off.before(frequency_hz)
        return coupled if self.shelves == FLAT else coupled * self.shelves.gain_at(frequency_hz)

    def into(self, load_ohm: float, frequency_hz: Array) -> Complex:
        """Response re 1 kHz of a small signal into a load."""
        divided = self.divided(load_ohm, frequency_hz) / self.divider(load_ohm)
        return np.asarray(self.roll_off.whole(frequency_hz) * divided)

    def gain_into(self, load_ohm: float) -> float:
        """Small-signal voltage gain (ratio) at 1 kHz into a load (inf for open)."""
        return self.gain * self.transfer.slope * self.divider(load_ohm)


def behaviours(review: Review) -> tuple[Behaviour, ...]:
    """One for each track of the review, in order."""
    made = []
    for unit, output in review.channels:
        wear = (review.date.year - unit.made) * WEAR[review.state]
        made.append(behaviour(unit, output, wear, review.key))
    if review.is_pair:
        return tuple(replace(one, crosstalk=0.0) for one in made)
    return tuple(made)


def behaviour(unit: Unit, output: str, wear: float, session_name: str) -> Behaviour:
    """One output after so many years of wear (0 or more) in the session of that name."""
    shared = generator_for("model", unit.maker, unit.model)
    own = generator_for("output", unit.key, output)
    session = generator_for("session", session_name, unit.key, output)
    norm = norm_for(unit.technology, preamplifier=unit.is_preamplifier)
    shape = shape_for(unit.topology)
    gain_db = norm.gain_db + 1.5 * shared.standard_normal()
    source = spread(shared, norm.source_ohm * shape.source_factor, 0.3)
    transfer = _transfer(unit, norm, shape, wear, shared, own)
    rail = _rail(unit, transfer, source, norm.sag_ohm, spread(shared, 1.02, 0.09), wear)
    gain = float(10 ** ((gain_db + _offset_db(output, unit, own, wear)) / 20))
    hiss_growth = 1.0 + 0.012 * wear
    return Behaviour(
        gain=gain,
        polarity=-1 if shared.random() < 0.15 else 1,
        source_ohm=source * float(np.exp(0.03 * own.standard_normal())),
        rail_v=rail,
        sag_ohm=norm.sag_ohm,
        transfer=transfer,
        roll_off=_roll_off(norm, unit, shared, own),
        hiss_v=spread(own, norm.hiss_v * hiss_growth, 0.35),
        mains_v=_mains(norm, shape, wear, own, session),
        offset_v=_direct(norm, unit, own, wear),
        crosstalk=float(10 ** (-(norm.separation_db + 4 * shared.standard_normal()) / 20)),
        coil_h=spread(shared, COIL_H, 0.2) if "output coil" in unit.topology else 0.0,
    )


def _offset_db(output: str, unit: Unit, own: np.random.Generator, wear: float) -> float:
    """Gain of an output against the unit's nominal: imbalance grows with wear."""
    size = abs(spread(own, 0.04 + 0.011 * wear, 0.5))
    sign = 1.0 if own.random() < 0.5 else -1.0
    if len(unit.outputs) == 1:
        return sign * size / float(np.sqrt(2.0))  # two samples share what a pair differs by
    return sign * size if output == "right" else 0.0


def _transfer(
    unit: Unit, norm: Norm, shape: Shape, wear: float,
    shared: np.random.Generator, own: np.random.Generator,
) -> Transfer:  # fmt: skip
    worn = 1.0 + 0.008 * wear
    later = float(np.exp(-0.012 * (unit.made - 1990))) if unit.technology != "tube" else 1.0
    crossover = spread(shared, shape.crossover * worn, 0.4) * later if shape.crossover else 0.0
    return Transfer(
        even=spread(own, shape.even * worn, 0.3) * later,
        cubic=-spread(own, abs(shape.cubic), 0.25) * later,
        fifth=spread(own, shape.fifth, 0.3) * later,
        knee=spread(shared, shape.knee, 0.1),
        crossover=min(crossover, 0.2),
        crossover_width=spread(shared, 0.02, 0.25),
        treble_hz=spread(shared, norm.treble_hz, 0.25),
        core=spread(shared, norm.core, 0.3) if norm.core else 0.0,
    )


def _rail(
    unit: Unit, transfer: Transfer, source: float, sag: float, margin: float, wear: float
) -> float:
    """Peak open EMF such that THD reaches 1 % at the rated power times the margin.

    A preamplifier clips at a peak of its own, in volts.
    """
    ceiling = 1.0 if unit.rated_power_w is None else 1.0 / (1.0 + sag / NOMINAL_OHM)
    relative = amplitude_at(transfer.at(1000.0), RATING_THD, ceiling)
    if unit.rated_power_w is None:
        volts = spread(generator_for("rail", unit.maker, unit.model), 14.0, 0.2)
        return float(np.sqrt(2.0) * volts / relative)
    fade = 1.0 - 0.004 * wear if unit.technology == "tube" else 1.0
    peak = np.sqrt(2.0 * NOMINAL_OHM * unit.rated_power_w * margin * fade)
    return float(peak * (1.0 + source / NOMINAL_OHM) / relative)


def _roll_off(
    norm: Norm, unit: Unit, shared: np.random.Generator, own: np.random.Generator
) -> RollOff:
    high = spread(shared, norm.high_hz, 0.22)
    if unit.made < 1970:
        high *= 0.8
    return RollOff(
        input_hz=spread(shared, norm.input_hz, 0.3),
        output_hz=spread(shared, norm.output_hz, 0.3) if norm.output_hz else 0.0,
        high_hz=high * float(np.exp(0.03 * own.standard_normal())),
        high_q=spread(shared, norm.high_q, 0.08),
    )


def _mains(
    norm: Norm, shape: Shape, wear: float, own: np.random.Generator, session: np.random.Generator
) -> tuple[float, ...]:
    total = spread(own, norm.hum_v * shape.hum_factor * (1.0 + 0.025 * wear), 0.5)
    total *= float(np.exp(0.1 * session.standard_normal()))
    mix = own.random()
    pattern = mix * FIELD / np.linalg.norm(FIELD) + (1 - mix) * RIPPLE / np.linalg.norm(RIPPLE)
    pattern *= np.exp(0.2 * own.standard_normal(len(pattern)))
    return tuple(float(v) for v in total * pattern / np.linalg.norm(pattern))


def _direct(norm: Norm, unit: Unit, own: np.random.Generator, wear: float) -> float:
    """DC at the output of a unit without an output transformer or coupling capacitor."""
    size = (0.004 + 0.0006 * wear) * own.standard_normal()
    return float(size) if norm.output_hz == 0 and not unit.is_preamplifier else 0.0
