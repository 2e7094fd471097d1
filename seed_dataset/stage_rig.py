"""Phono stages, headphone amplifiers and equalisers on the bench."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from backbench.bench_day.planned_capture import PlannedStep
from backbench.documents.stimuli import Idle, Stimulus, Sweep, ToneThroughResistor
from backbench.seed_dataset.draws import generator_for, spread
from backbench.seed_dataset.rig import BOTH, Figure, Played
from backbench.seed_dataset.scenario import Unit
from backbench.seed_dataset.stage import Complex, Stage, driven, replay_curve
from backbench.seed_dataset.tuner import Columns
from backbench.signal.track import Array

RATE = 48_000
TONE_S, LOW_TONE_S, SWEEP_S = 0.5, 1.0, 0.8
LEFT_OUT = ("two-tones-60-7k", "square-and-sine", "multitone", "square-1k")
"""What would show nothing that the amplifiers of the scenario don't show."""
MAGNET_V = 5e-3
"""The reference level of a phono input (common practice, no source)."""


@dataclass(frozen=True)
class StageRig:
    """left, right: its outputs. crosstalk: of the driven one in the other, a ratio."""

    left: Stage
    right: Stage
    crosstalk: float
    input_name: str | None = None
    loads_ohm: tuple[float, ...] = ()
    rate_hz: int = RATE

    @property
    def gain_db(self) -> float:
        return 20 * math.log10(self._loaded(self.left))

    def _loaded(self, stage: Stage) -> float:
        return stage.gain / (1 + stage.source_ohm / self._load(None))

    def _load(self, stated: float | str | None) -> float:
        if isinstance(stated, float | int):
            return float(stated)
        return math.inf if stated == "open" or not self.loads_ohm else self.loads_ohm[0]

    def record(self, step: PlannedStep, rng: np.random.Generator) -> Played | None:
        if step.stem in LEFT_OUT:
            return None
        stimulus: Stimulus = step.stimulus
        if isinstance(stimulus, Sweep):
            stimulus = stimulus.model_copy(update={"sweep_s": SWEEP_S})
        load, only = self._load(step.conditions.load_ohm), step.conditions.driven
        kept = slice(_samples(stimulus))
        played = {
            output: stage.plays(stimulus, load, RATE, rng)[kept]
            for output, stage in zip(BOTH, (self.left, self.right), strict=True)
        }
        if only:
            other = BOTH[1 - BOTH.index(only)]
            hiss = getattr(self, other).plays(Idle(idle="input shorted"), load, RATE, rng)
            played[other] = self.crosstalk * played[only] + hiss[: len(played[only])]
        volts = np.stack(list(played.values()), axis=1)
        return Played(stimulus, volts, RATE, generator=self._generator(step.stem, stimulus, kept))

    def _generator(self, stem: str, stimulus: Stimulus, kept: slice) -> Array | None:
        """The generator's EMF where two loads are compared, and under a sweep."""
        paired = stem in {"tone-1k", "tone-1k-2v"} or stem.endswith(("ohm", "-open"))
        if isinstance(stimulus, ToneThroughResistor) or not (paired or isinstance(stimulus, Sweep)):
            return None
        emf, keep = driven(stimulus, RATE)
        return emf[keep][kept]

    def tables(self) -> dict[str, Columns]:
        return {}

    def figures(self) -> list[Figure]:
        found = []
        for output, stage in zip(BOTH, (self.left, self.right), strict=True):
            found.append(Figure("source_impedance", output, stage.source_ohm))
            found.append(Figure("input_impedance", output, stage.input_ohm, within=100.0))
            if self.input_name:
                margin = 20 * math.log10(stage.input_at(1.0) / MAGNET_V)
                at = {"limit_percent": 1.0}
                found.append(Figure("phono_overload_margin", output, margin, at, within=0.1))
        return found


def _samples(stimulus: Stimulus) -> int | None:
    """How much of a tone is kept; all of a sweep and of silence."""
    if isinstance(stimulus, Sweep):
        return None
    if isinstance(stimulus, Idle):
        return RATE
    low = min(stimulus.frequencies) < 100.0
    return round((LOW_TONE_S if low else TONE_S) * RATE)


def _pair(stage: Stage, own: np.random.Generator, **more: object) -> StageRig:
    """Two outputs of a kind: gain and hiss differ by chance."""
    right = replace(
        stage,
        gain=stage.gain * float(10 ** (0.01 * own.standard_normal())),
        hiss_v=spread(own, stage.hiss_v, 0.1),
    )
    return StageRig(stage, right, crosstalk=spread(own, 3e-4, 0.3), **more)  # type: ignore[arg-type]


def phono_stage(unit: Unit, wear: float) -> StageRig:
    """A phono stage after so many years of wear; medians without a source."""
    own = generator_for("stage", unit.key)
    tube = unit.technology == "tube"
    stage = Stage(
        gain=spread(own, 100.0, 0.08),
        rail_v=spread(own, 24.0 if tube else 11.0, 0.1),
        hiss_v=spread(own, (0.9e-6 if tube else 0.35e-6) * (1 + 0.01 * wear), 0.2),
        source_ohm=spread(own, 900.0 if tube else 220.0, 0.2),
        response=partial(replay_curve, stretch=spread(own, 1.0, 0.03)),
    )
    return _pair(stage, own, input_name="phono mm")


def headphone_amplifier(unit: Unit, wear: float) -> StageRig:
    """A headphone amplifier, into 32 and 300 ohm; medians without a source."""
    own = generator_for("stage", unit.key)
    tube = unit.technology == "tube"
    stage = Stage(
        gain=spread(own, 4.0, 0.1),
        rail_v=spread(own, 14.0, 0.1),
        hiss_v=spread(own, (5e-6 if tube else 1.8e-6) * (1 + 0.01 * wear), 0.2),
        source_ohm=spread(own, 22.0 if tube else 1.2, 0.3),
    )
    return _pair(stage, own, loads_ohm=(32.0, 300.0))


def equaliser(unit: Unit, wear: float) -> StageRig:
    """An equaliser with its controls at rest, which leave something; medians without a source."""
    own = generator_for("stage", unit.key)
    left_over = [(hz, float(own.normal(0.0, 0.25))) for hz in (60.0, 250.0, 1000.0, 4e3, 12e3)]
    stage = Stage(
        gain=spread(own, 1.0, 0.03),
        rail_v=spread(own, 13.0, 0.08),
        hiss_v=spread(own, 6e-6 * (1 + 0.02 * wear), 0.2),
        source_ohm=spread(own, 180.0, 0.2),
        input_ohm=spread(own, 22_000.0, 0.1),
        response=partial(_bands, bands=tuple(left_over)),
    )
    return _pair(stage, own)


def _bands(hz: Array, bands: tuple[tuple[float, float], ...]) -> Complex:
    """Resonant bands of a quality of 1 and a gain in dB at their middle; 1 at 1 kHz in all."""

    def shape(frequency: Array) -> Complex:
        total = np.ones(len(frequency), dtype=np.complex128)
        for middle, db in bands:
            x = np.maximum(frequency, 1e-3) / middle
            band = 1 / (1 + 1j * (x - 1 / x))
            total *= 1 + (10 ** (db / 20) - 1) * band
        return total

    return np.asarray(shape(hz) / abs(shape(np.array([1000.0]))[0]), dtype=np.complex128)
