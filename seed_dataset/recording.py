"""One capture made: the words that the converter would have written, and its range."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace

import numpy as np

from backbench.documents.settings import InForce
from backbench.seed_dataset.behaviour import Behaviour
from backbench.seed_dataset.bench import picked
from backbench.seed_dataset.converter import Words, to_words
from backbench.seed_dataset.draws import generator_for
from backbench.seed_dataset.noise import hiss, mains, mains_hz
from backbench.seed_dataset.plan import Take
from backbench.seed_dataset.scenario import Review
from backbench.seed_dataset.shelves import set_shelves
from backbench.seed_dataset.stimulus import Array, length

CLIPPED = "two-tone-19k-20k.flac"
EVENT = dt.date(2021, 12, 4)
"""From which day on the bench's own hum is less (`settings.toml` names it)."""
HUM_BEFORE = 5.0
TURNED_DOWN = {"half": 0.08, "quarter": 0.012}
"""Of the full gain, by the setting of the volume control."""
ALONE = 0.6
"""Of the supply's sag where one of two outputs is driven (no source)."""
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
    peak_v = max(float(np.max(np.abs(track))) for track in tracks)
    calibration = available[0] if is_clipped(review, take) else picked(available, peak_v)
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
    if "wrong-load" in review.extras:
        load /= 2  # the resistors on the bench weren't those of the manifest
    behaviours = tuple(set_to(one, take) for one in behaviours)
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


def is_clipped(review: Review, take: Take) -> bool:
    """Whether the capture was taken in too sensitive a range."""
    return "clipped" in review.extras and take.file == CLIPPED


def set_to(one: Behaviour, take: Take) -> Behaviour:
    """An output with the controls as the capture has them, and a supply that feeds it alone."""
    gain = one.gain * TURNED_DOWN.get(take.volume or "", 1.0)
    sag_ohm = one.sag_ohm * (ALONE if take.driven else 1.0)
    shelves = set_shelves(take.controls, take.volume)
    return replace(one, gain=gain, sag_ohm=sag_ohm, shelves=shelves)


def _loop_back(review: Review, take: Take, clock: float, rng: np.random.Generator) -> list[Array]:
    """The generator straight into both inputs."""
    played = take.stimulus.generator(clock)
    rate = take.stimulus.rate_hz
    hz = mains_hz(review.key, review.mains_hz)
    before = HUM_BEFORE if review.bench == "garage" and review.date < EVENT else 1.0
    own = tuple(before * volts for volts in BENCH_MAINS_V)
    return [played + mains(rng, own, hz, len(played), rate) for _ in range(2)]
