"""Tuners, disc players and converters on the bench."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.bench_day.planned_capture import PlannedStep
from backbench.bench_day.stimulus_waveforms import wave
from backbench.documents.stimuli import FmTone, Idle, Tone
from backbench.seed_dataset.draws import generator_for, spread
from backbench.seed_dataset.player import FILE_HZ, RATE, Player, dithered
from backbench.seed_dataset.rig import BOTH, Figure, Played, seed_of
from backbench.seed_dataset.scenario import Unit
from backbench.seed_dataset.tuner import Columns, Tuner, deemphasis
from backbench.signal.track import Array

STATED_DEEMPHASIS_S = 50e-6
TONE_S, FM_S = 0.5, 5.2
PILOT_RATE_HZ, FM_RATE_HZ, TONE_RATE_HZ = 96_000, 24_000, 48_000
TUNER_BITS = 17
"""Its hiss lies above a step of so many."""
LOW_DB = -60.0
LOW_S = 1.0


@dataclass(frozen=True)
class TunerRig:
    """A tuner that a signal generator feeds with 65 dBf."""

    tuner: Tuner
    rate_hz: int = PILOT_RATE_HZ
    gain_db: float | None = None
    loads_ohm: tuple[float, ...] = ()

    def record(self, step: PlannedStep, rng: np.random.Generator) -> Played | None:
        stimulus, driven = step.stimulus, step.conditions.driven
        if isinstance(stimulus, FmTone):
            pilot = stimulus.pilot_hz is not None
            rate = PILOT_RATE_HZ if pilot else FM_RATE_HZ
            if not pilot:
                stimulus = stimulus.model_copy(update={"deemphasis_s": STATED_DEEMPHASIS_S})
            volts = self.tuner.plays(stimulus.fm_tone_hz, pilot=pilot, driven=driven,
                                     seconds=FM_S, rate_hz=rate, rng=rng)  # fmt: skip
            return Played(stimulus, volts[:, :1], rate, BOTH[:1], bits=TUNER_BITS)
        idle = isinstance(stimulus, Idle)
        volts = self.tuner.plays(None if idle else stimulus.tone_hz, pilot=False, driven=driven,
                                 seconds=1.0 if idle else TONE_S, rate_hz=TONE_RATE_HZ,
                                 rng=rng)  # fmt: skip
        return Played(stimulus, volts, TONE_RATE_HZ, bits=TUNER_BITS)

    def tables(self) -> dict[str, Columns]:
        return {"tuner": self.tuner.by_rf_level(), "interference": self.tuner.by_interferer()}

    def figures(self) -> list[Figure]:
        one = self.tuner
        sensitive = one.full_quieting_dbf + 10
        values = {
            "capture_ratio": one.capture_db,
            "alternate_selectivity": one.alternate_db,
            "adjacent_selectivity": one.adjacent_db,
            "image_rejection": one.image_db,
            "if_rejection": one.intermediate_db,
            "quieting_sensitivity": sensitive,
            "quieting_sensitivity_stereo": sensitive + one.stereo_loss_db,
            "ultimate_snr": one.snr_db,
            "ultimate_snr_stereo": one.snr_db - one.stereo_loss_db / 2,
            "tuner_thd": one.thd_percent,
            "tuner_thd_stereo": 2 * one.thd_percent,
            "stereo_separation": one.separation_db,
            "am_suppression": one.am_suppression_db,
            "pilot_residue": one.pilot_db,
            "subcarrier_residue": one.pilot_db - 20 * math.log10(2),
        }
        found = [Figure(name, "left", value, within=0.05) for name, value in values.items()]
        own, stated = (
            20 * math.log10(deemphasis(1e4, constant) / deemphasis(1e3, constant))
            for constant in (one.deemphasis_s, STATED_DEEMPHASIS_S)
        )
        at = {"frequency_hz": 10_000.0}
        return [*found, Figure("deemphasis_error", "left", own - stated, at, within=0.02)]


@dataclass(frozen=True)
class PlayerRig:
    """A disc player or converter that plays files of 16 bits; right: of the left level."""

    player: Player
    right: float
    crosstalk: float
    rate_hz: int = RATE
    gain_db: float | None = None
    loads_ohm: tuple[float, ...] = ()

    def record(self, step: PlannedStep, rng: np.random.Generator) -> Played | None:
        stimulus, driven = step.stimulus, step.conditions.driven
        db = getattr(stimulus, "full_scale_db", None)
        low = db is not None and db <= LOW_DB
        samples = self._samples(stimulus, LOW_S if low else TONE_S, rng)
        outputs = BOTH[:1] if low else BOTH
        volts = []
        for output, level in zip(BOTH, (1.0, self.right), strict=True):
            sent = samples if driven in (None, output) else self.crosstalk * samples
            volts.append(level * self.player.plays(sent, seed_of(rng)))
        return Played(stimulus, np.stack(volts, axis=1)[:, : len(outputs)], RATE, outputs)

    def _samples(self, stimulus: object, seconds: float, rng: np.random.Generator) -> Array:
        """The file of 16 bits that is played; silence without dither."""
        if isinstance(stimulus, Idle):
            return np.zeros(FILE_HZ)
        made = wave(stimulus, FILE_HZ)  # type: ignore[arg-type]
        start = round(made.keep[0] * FILE_HZ)
        emf = made.volts[start : start + round(seconds * FILE_HZ)]
        db = (stimulus.full_scale_db or 0.0) if isinstance(stimulus, Tone) else 0.0
        played = dithered(emf / np.abs(emf).max() * 10 ** (db / 20), 16, rng)
        wrong_db = self.player.step_error_db if db < -70 else 0.0
        return np.asarray(played * 10 ** (wrong_db / 20))

    def tables(self) -> dict[str, Columns]:
        return {}

    def figures(self) -> list[Figure]:
        one = self.player
        low, high = one.gain_at(20_000.0, FILE_HZ - 20_000.0)
        hiss = one.hiss_v * math.sqrt(19_980 / (RATE / 2)) / one.full_v
        at = {"frequency_hz": 20_000.0}
        image = 20 * math.log10(high / low)
        # What the bench's own input adds to the silence isn't the player's.
        return [
            Figure("level_error", "left", one.step_error_db, detail="-80 dB re", within=0.02),
            Figure("silence_noise", "left", 20 * math.log10(hiss), detail='"none"', within=1.5),
            Figure("sampling_image", "left", image, at, within=0.2),
        ]


def tuner(unit: Unit, wear: float) -> TunerRig:
    """A tuner after so many years of wear; medians without a source."""
    own = generator_for("tuner", unit.key)
    return TunerRig(Tuner(
        level_v=spread(own, 0.6, 0.15),
        deemphasis_s=spread(own, 51e-6, 0.03),
        pilot_db=-58.0 + 4 * own.standard_normal() + 0.1 * wear,
        separation_db=42.0 + 2.5 * own.standard_normal() - 0.15 * wear,
        right=float(10 ** (0.02 * own.standard_normal())),
        snr_db=74.0 + 2 * own.standard_normal(),
        stereo_loss_db=20.0 + own.standard_normal(),
        full_quieting_dbf=11.0 + 1.5 * own.standard_normal() + 0.05 * wear,
        capture_db=spread(own, 1.4, 0.2),
        alternate_db=62.0 + 5 * own.standard_normal(),
        thd_percent=spread(own, 0.15 * (1 + 0.01 * wear), 0.3),
        am_suppression_db=55.0 + 3 * own.standard_normal(),
        adjacent_db=6.5 + 1.5 * own.standard_normal(),
        image_db=68.0 + 5 * own.standard_normal(),
        intermediate_db=78.0 + 4 * own.standard_normal(),
    ))  # fmt: skip


def player(unit: Unit, wear: float) -> PlayerRig:
    """A disc player or converter; older ones are less linear. Medians without a source."""
    own = generator_for("player", unit.key)
    age = max(2010 - unit.made, 0)
    return PlayerRig(
        Player(
            full_v=spread(own, 2.05, 0.05),
            jitter_s=spread(own, 0.2e-9 * (1 + 0.15 * age), 0.4),
            hiss_v=spread(own, 6e-6 * (1 + 0.01 * wear), 0.3),
            step_error_db=0.02 * age * own.standard_normal(),
            second=spread(own, 2e-5 * (1 + 0.1 * age), 0.4),
        ),
        right=float(10 ** (0.006 * own.standard_normal())),
        crosstalk=spread(own, 3e-5 * (1 + 0.1 * age), 0.3),
    )
