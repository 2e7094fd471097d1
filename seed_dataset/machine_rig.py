"""Turntables and tape decks on the bench: short records, at rates that hold what is measured."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from backbench.bench_day.planned_capture import PlannedStep
from backbench.documents.stimuli import Stimulus, SweepOnMedium, ToneOnMedium
from backbench.seed_dataset.draws import generator_for, spread
from backbench.seed_dataset.machine import Machine
from backbench.seed_dataset.playback import ROUND_SWEEP_S, RUMBLE_HZ, Playback
from backbench.seed_dataset.rig import BOTH, Figure, Played, seed_of
from backbench.seed_dataset.scenario import Unit
from backbench.seed_dataset.tuner import Columns
from backbench.signal.rumble import rumble_unweighted, rumble_weighted
from backbench.signal.track import Array

LEFT = BOTH[:1]
RECORDS: dict[str, tuple[float, int, tuple[str, ...]]] = {
    "idle": (1.0, 48_000, BOTH),
    "speed": (22.2, 16_000, LEFT),
    "reference": (3.5, 48_000, BOTH),
    "silent-groove": (5.5, 44_100, LEFT),
    "silent-tape": (5.5, 44_100, LEFT),
    "erased": (6.0, 8_000, LEFT),
    "only": (3.5, 16_000, BOTH),
    "tone": (3.5, 32_000, BOTH),
    "sweep-low": (8.0, 8_000, LEFT),
    "sweep": (8.0, 44_100, BOTH),
}
"""Seconds, sample rate and outputs by the beginning of the file's name; the first that fits."""
BITS = 16
"""The medium's own noise lies above a step of so many."""
PEAK_VELOCITY_CM_S, FLUX_NWB_M = 10.0, 250.0


@dataclass(frozen=True)
class MachineRig:
    """A machine that plays a medium, "disc" or "tape"."""

    playback: Playback
    medium: str
    rate_hz: int = 48_000
    gain_db: float | None = None
    loads_ohm: tuple[float, ...] = ()

    def record(self, step: PlannedStep, rng: np.random.Generator) -> Played | None:
        seconds, rate, outputs = next(
            kept for name, kept in RECORDS.items() if step.stem.startswith(name)
        )
        machine = replace(self.playback.machine, rate_hz=rate, seed=seed_of(rng))
        stimulus = self._stated(step, seconds)
        volts = replace(self.playback, machine=machine).plays(
            stimulus, step.conditions.driven, seconds
        )
        return Played(stimulus, volts[:, : len(outputs)], rate, outputs, bits=BITS)

    def _stated(self, step: PlannedStep, seconds: float) -> Stimulus:
        """The stimulus with what is printed on the medium, and the sweep's own length."""
        stimulus: Stimulus = step.stimulus
        if isinstance(stimulus, SweepOnMedium):
            return stimulus.model_copy(update={"sweep_s": seconds - ROUND_SWEEP_S})
        if isinstance(stimulus, ToneOnMedium) and step.stem.startswith("reference"):
            level = {"peak_velocity_cm_s": PEAK_VELOCITY_CM_S}
            return stimulus.model_copy(
                update=level if self.medium == "disc" else {"flux_nwb_m": FLUX_NWB_M}
            )
        return stimulus

    def tables(self) -> dict[str, Columns]:
        return {}

    def figures(self) -> list[Figure]:
        one, machine = self.playback, self.playback.machine
        speed = 1 + machine.speed_percent / 100
        flutter = math.hypot(machine.wow_percent, machine.flutter_percent) / math.sqrt(2)
        found = [
            Figure("speed_error", "left", machine.speed_percent),
            Figure("flutter_unweighted_rms", "left", flutter / speed, within=0.005),
            Figure("played_third_harmonic", "left", one.third_percent),
            Figure("played_balance", "right", 20 * math.log10(one.right)),
            Figure("played_separation", "right", -20 * math.log10(one.left_over)),
        ]
        return found + (self._of_a_disc() if self.medium == "disc" else self._of_a_tape())

    def _of_a_disc(self) -> list[Figure]:
        found = [
            Figure(metric, "left", 20 * math.log10(self._rumble(curve)), within=0.3)
            for metric, curve in (("rumble", rumble_unweighted), ("rumble_weighted",
                                                                  rumble_weighted))
        ]  # fmt: skip
        grid = np.geomspace(4, 30, 5000)
        peak = float(grid[np.argmax(self.playback.arm(grid))])
        return [*found, Figure("arm_resonance", "left", peak)]

    def _rumble(self, curve: Callable[[Array], Array]) -> float:
        rate = RECORDS["silent-groove"][1]
        hz = np.arange(0.5, rate / 2)
        noise = self.playback.machine.noise_v * np.sqrt(np.square(curve(hz)).sum() / (rate / 2))
        return math.hypot(self.playback.rumble_v * float(curve(np.array([RUMBLE_HZ]))[0]), noise)

    def _of_a_tape(self) -> list[Figure]:
        one, rate = self.playback, RECORDS["silent-tape"][1]
        noise = math.hypot(one.rumble_v, one.machine.noise_v * math.sqrt(19_980 / (rate / 2)))
        return [
            Figure("medium_snr", "left", -20 * math.log10(noise), within=0.2),
            Figure("azimuth_delay", "right", one.late_s),
        ]


def turntable(unit: Unit, wear: float) -> MachineRig:
    """A turntable with its cartridge after so many years of wear; medians without a source."""
    own = generator_for("machine", unit.key)
    machine = Machine(
        speed_percent=0.25 * own.standard_normal(),
        wow_percent=spread(own, 0.07 * (1 + 0.02 * wear), 0.3),
        flutter_percent=spread(own, 0.03 * (1 + 0.02 * wear), 0.3),
        noise_v=1e-4,
    )
    return MachineRig(
        Playback(
            machine,
            right=float(10 ** (0.04 * own.standard_normal())),
            left_over=spread(own, 0.05, 0.25),
            third_percent=spread(own, 0.8, 0.3),
            rumble_v=spread(own, 1.2e-2 * (1 + 0.03 * wear), 0.3),
            low_hz=spread(own, 8.0, 0.2),
            high_hz=spread(own, 17e3, 0.15),
            arm_hz=spread(own, 9.8, 0.12),
            arm_q=spread(own, 2.4, 0.15),
        ),
        "disc",
    )


def tape_deck(unit: Unit, wear: float) -> MachineRig:
    """A tape deck after so many years of wear; medians without a source."""
    own = generator_for("machine", unit.key)
    machine = Machine(
        speed_percent=0.5 * own.standard_normal(),
        wow_percent=spread(own, 0.05 * (1 + 0.03 * wear), 0.3),
        flutter_percent=spread(own, 0.07 * (1 + 0.03 * wear), 0.3),
        noise_v=spread(own, 9e-4, 0.2),
    )
    return MachineRig(
        Playback(
            machine,
            right=float(10 ** (0.04 * own.standard_normal())),
            late_s=spread(own, 12e-6 * (1 + 0.05 * wear), 0.4),
            left_over=spread(own, 0.012, 0.3),
            third_percent=spread(own, 1.1, 0.3),
            rumble_v=spread(own, 2e-4, 0.3),
            erased_v=spread(own, 4e-4, 0.3),
            low_hz=spread(own, 30.0, 0.2),
            high_hz=spread(own, 13e3, 0.15),
        ),
        "tape",
    )
