"""One capture made: the words that the converter would have written, and its range."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.documents.settings import InForce
from backbench.seed_dataset.behaviour import Behaviour
from backbench.seed_dataset.bench import picked
from backbench.seed_dataset.converter import Words, to_words
from backbench.seed_dataset.draws import generator_for
from backbench.seed_dataset.noise import hiss, mains, mains_hz
from backbench.seed_dataset.plan import Take
from backbench.seed_dataset.scenario import Review
from backbench.seed_dataset.stimulus import Array, length

BENCH_MAINS_V = (0.4e-6, 0.1e-6, 0.3e-6)


@dataclass(frozen=True, eq=False)
class Recording:
    """Words of shape (n, tracks) as int32 with 24 bits used, their rate and the range."""

    words: Words
    rate_hz: int
    calibration: InForce


def record(
    review: Review, behaviours: tuple[Behaviour, ...], take: Take, available: list[InForce]
) -> Recording:
    """Play, add what the unit and the mains add, convert."""
    rng = generator_for("capture", review.key, take.file)
    clock = 1 + 1e-5 * float(generator_for("clock", review.key).standard_normal())
    tracks = _loop_back(review, take, clock, rng) if take.loop_back else _terminals(
        review, behaviours, take, clock, rng
    )  # fmt: skip
    calibration = picked(available, max(float(np.max(np.abs(track))) for track in tracks))
    full_scale = [calibration.volts[n] for n in range(1, len(tracks) + 1)]
    if take.with_generator:
        tracks.append(take.stimulus.generator(clock))
        full_scale.append(calibration.volts[3])
    rate = take.stimulus.rate_hz
    return Recording(to_words(tracks, full_scale, rate, rng), rate, calibration)


def _terminals(
    review: Review, behaviours: tuple[Behaviour, ...], take: Take, clock: float,
    rng: np.random.Generator,
) -> list[Array]:  # fmt: skip
    driven = [take.driven in (None, output) for _, output in review.channels]
    load = math.inf if take.load_ohm is None else take.load_ohm
    clean = take.stimulus.outputs(behaviours, driven, load, clock)
    rate = take.stimulus.rate_hz
    n = length(rate, take.stimulus.seconds)
    hz = mains_hz(review.key, review.mains_hz)
    return [
        volts + one.offset_v
        + hiss(rng, one.hiss_v, n, rate)
        + mains(rng, one.mains_v, hz, n, rate)
        for volts, one in zip(clean, behaviours, strict=True)
    ]  # fmt: skip


def _loop_back(review: Review, take: Take, clock: float, rng: np.random.Generator) -> list[Array]:
    """The generator straight into both inputs."""
    played = take.stimulus.generator(clock)
    rate = take.stimulus.rate_hz
    hz = mains_hz(review.key, review.mains_hz)
    return [played + mains(rng, BENCH_MAINS_V, hz, len(played), rate) for _ in range(2)]
