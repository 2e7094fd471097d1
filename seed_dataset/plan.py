"""The battery: which captures a session takes, in order."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from backbench.bench_day.capture_names import number_in_name
from backbench.seed_dataset.behaviour import Behaviour
from backbench.seed_dataset.burst import Burst
from backbench.seed_dataset.idle import Idle
from backbench.seed_dataset.multitone import Multitone
from backbench.seed_dataset.scenario import Review
from backbench.seed_dataset.shelves import LOUDNESS, SETTINGS
from backbench.seed_dataset.square import Square
from backbench.seed_dataset.stimulus import Stimulus
from backbench.seed_dataset.sweep import Sweep
from backbench.seed_dataset.tone import Tone
from backbench.seed_dataset.two_tones import TwoTones

OPEN = math.inf
FRACTIONS = (0.003, 0.03, 0.12, 0.25, 0.5, 0.75, 1.0, 1.22, 1.5)
FEWER = (0.03, 0.25, 0.5, 1.0, 1.22, 1.5)
"""Of the rated power: every step where the generator was recorded throughout, for restored units
and where "steps" is among the extras; fewer for the others."""
FOUR_OHM = (0.8, 1.2, 1.5, 1.8, 2.3)
ONE_DRIVEN = (1.0, 1.15, 1.3, 1.6)
ABOVE_HZ = (10_000.0, 20_000.0, 25_000.0)
"""At the generator level of rated power, as far as 192 kHz holds the third harmonic."""
OVERLOAD = 4.0
"""Power of bursts that clip, re the rated one."""
LINE_VOLTS = (0.2, 0.5, 1.0, 2.0, 4.0, 7.0, 10.0, 14.0, 19.0)
MEASURED_WATTS = (1.0, 5.0)
OVER_THE_BAND_HZ = (110.0, 310.0, 3000.0, 5000.0, 10_000.0)
"""Second and third harmonic within the band of the files, and off the multiples of 50 Hz."""
ABOVE_SHARE = 0.25
"""Of the rated power: the greater of the levels at several frequencies; a step of every session."""
PAIRED_WATTS, PAIRED_VOLTS = 1.0, 2.0
"""Where two loads are compared: the generator is recorded too, which gives the phase."""
MULTITONE_BASE_HZ = 35.0
MULTIPLES = (1, 2, 4, 9, 17, 29, 47, 83, 139, 229, 379, 561)


@dataclass(frozen=True)
class Take:
    """One capture as planned.

    load_ohm: inf for open, None where no load is stated (the bench's input alone).
    controls, volume: settings of the tone and volume controls, None for the usual ones.
    driven: the only output that the generator feeds, None for all.
    """

    file: str
    stimulus: Stimulus
    load_ohm: float | None
    controls: str | None = None
    volume: str | None = None
    driven: str | None = None
    with_generator: bool = False
    loop_back: bool = False


@dataclass(frozen=True)
class Sheet:
    """A table of one output: its file, the output's track from 1, and its stimulus in TOML."""

    file: str
    position: int
    toml: str


def takes(review: Review, behaviours: tuple[Behaviour, ...]) -> list[Take]:
    """All captures of a session but the tables."""
    if review.units[0].is_preamplifier:
        found = list(_line(review, behaviours[0]))
    else:
        found = list(_amplifier(review, behaviours[0]))
    if "loop-back" in review.extras:
        found += [
            Take("loop-back-1k.flac", Tone(1000.0, 1.0), None, loop_back=True),
            Take("loop-back-idle.flac", Idle("generator off"), None, loop_back=True),
        ]
    return found


def _amplifier(review: Review, one: Behaviour) -> Iterator[Take]:
    rated = review.units[0].rated_power_w
    if rated is None:
        raise ValueError(f"{review.key}: no rated power")
    recorded = "generator" in review.extras

    level = partial(_level, one)
    yield Take("idle.flac", Idle(), 8.0)
    every = recorded or review.state == "restored" or "steps" in review.extras
    fractions = FRACTIONS if every else FEWER
    for watts in _powers(rated, fractions):
        tone = Tone(1000.0, level(watts))
        beside = recorded or watts == PAIRED_WATTS
        yield Take(f"tone-1k-{number_in_name(watts)}w.flac", tone, 8.0, with_generator=beside)
    low = Tone(20.0, level(1.0), seconds=0.7)
    yield Take("tone-20-1w.flac", low, 8.0)
    yield Take("tone-20k-1w.flac", Tone(20_000.0, level(1.0), 96_000, 0.3), 8.0)
    yield Take("tone-1k-open.flac", Tone(1000.0, level(1.0)), OPEN, with_generator=True)
    yield Take("tone-1k-4ohm.flac", Tone(1000.0, level(1.0)), 4.0, with_generator=True)
    if "response-table" not in review.extras:
        yield from _sweeps(review, level(1.0), 8.0)
    yield from _separation(review, Tone(1000.0, level(1.0)), 8.0)
    yield from _several(review, level(1.0), 8.0)
    yield from _over_powers(review, one, rated)
    if "four-ohm" in review.extras:
        for share in FOUR_OHM:
            volts = three_digits(math.sqrt(share * rated * 4.0) / one.gain_into(4.0))
            name = f"tone-1k-{number_in_name(share * rated)}w-4ohm.flac"
            yield Take(name, Tone(1000.0, volts), 4.0)
    if "one-driven" in review.extras:
        output = review.channels[0][1]
        for share in ONE_DRIVEN:
            name = f"only-{output}-1k-{number_in_name(share * rated)}w.flac"
            yield Take(name, Tone(1000.0, level(share * rated)), 8.0, driven=output)
    if "hard" in review.extras:
        yield from _hard(one, rated)


def _level(one: Behaviour, watts: float) -> float:
    """Volts rms of the generator that give a power into 8 ohm."""
    return three_digits(math.sqrt(watts * 8.0) / one.gain_into(8.0))


def _over_powers(review: Review, one: Behaviour, rated: float) -> Iterator[Take]:
    """Tones of several frequencies at two powers, and both kinds of two tones at two more."""

    level = partial(_level, one)
    if "frequencies" in review.extras:
        for watts in (1.0, ABOVE_SHARE * rated):
            for hz in OVER_THE_BAND_HZ:
                tone = Tone(hz, level(watts), 96_000, 0.3)
                name = f"tone-{number_in_name(hz)}-{number_in_name(watts)}w.flac"
                yield Take(name, tone, 8.0)
    if "two-tone-powers" in review.extras:
        for watts in (0.1 * rated, 0.5 * rated):
            volts, name = level(watts), number_in_name(watts)
            high = TwoTones(19_000, 20_000, 1.0, volts)
            yield Take(f"two-tone-19k-20k-{name}w.flac", high, 8.0)
            yield Take(f"two-tone-60-7k-{name}w.flac", _clear_pair(volts), 8.0)


def _clear_pair(level_v: float) -> TwoTones:
    """In place of 60 Hz and 7 kHz: products off the multiples of the mains, in a record that tells
    them apart; not every session takes it."""
    return TwoTones(66, 7050, 4.0, level_v, 48_000, 6.0)


def _hard(one: Behaviour, rated: float) -> Iterator[Take]:
    """Rated power above the band, and a burst that clips."""
    volts = math.sqrt(rated * 8.0) / one.gain_into(8.0)
    for hz in ABOVE_HZ:
        tone = Tone(hz, three_digits(volts), 192_000, 0.3)
        yield Take(f"slew-{number_in_name(hz)}.flac", tone, 8.0)
    burst = Burst(1000.0, three_digits(math.sqrt(OVERLOAD) * volts))
    yield Take("burst-overload.flac", burst, 8.0)


def _powers(rated_w: float, fractions: Sequence[float]) -> list[float]:
    """Steps to past the rated power, and 1 W and 5 W; none twice within 10 %."""
    steps = [*MEASURED_WATTS]
    for fraction in fractions:
        watts = rated_w * fraction
        if watts > 0.02 and all(abs(watts / known - 1) > 0.1 for known in MEASURED_WATTS):
            steps.append(watts)
    return sorted(steps)


def _line(review: Review, one: Behaviour) -> Iterator[Take]:
    def level(volts: float) -> float:
        return three_digits(volts / one.gain_into(OPEN))

    recorded = "generator" in review.extras
    yield Take("idle.flac", Idle(), None)
    for volts in LINE_VOLTS:
        tone = Tone(1000.0, level(volts))
        beside = recorded or volts == PAIRED_VOLTS
        yield Take(f"tone-1k-{number_in_name(volts)}v.flac", tone, None, with_generator=beside)
    yield Take("tone-20-2v.flac", Tone(20.0, level(2.0), seconds=0.7), None)
    yield Take("tone-20k-2v.flac", Tone(20_000.0, level(2.0), 96_000, 0.3), None)
    yield Take("tone-1k-open.flac", Tone(1000.0, level(2.0)), OPEN, with_generator=True)
    yield Take("tone-1k-10kohm.flac", Tone(1000.0, level(2.0)), 10_000.0, with_generator=True)
    yield from _sweeps(review, level(1.0), None)
    yield from _separation(review, Tone(1000.0, level(2.0)), None)
    yield from _several(review, level(2.0), None)


def _several(review: Review, level_v: float, load_ohm: float | None) -> Iterator[Take]:
    """Two tones for everyone, and what the review's extras name; level_v: rms of all together."""
    yield Take("two-tone-19k-20k.flac", TwoTones(19_000, 20_000, 1.0, level_v), load_ohm)
    if review.extras & {"modulation", "two-tone-powers"}:
        usual = TwoTones(60, 7000, 4.0, level_v, seconds=1.2)
        tones = _clear_pair(level_v) if "two-tone-powers" in review.extras else usual
        yield Take("two-tone-60-7k.flac", tones, load_ohm)
    if "multitone" in review.extras:
        tones = Multitone(MULTIPLES, MULTITONE_BASE_HZ, level_v)
        yield Take("multitone.flac", tones, load_ohm)
    if "square" in review.extras:
        yield Take("square-1k.flac", Square(1000.0, three_digits(2 * level_v)), load_ohm)


def _sweeps(review: Review, level_v: float, load_ohm: float | None) -> Iterator[Take]:
    """The response, into a second load and at other settings of the controls too."""
    yield Take("sweep.flac", Sweep(level_v), load_ohm, with_generator=True)
    if "impedance" in review.extras:
        yield Take("sweep-4ohm.flac", Sweep(level_v), 4.0, with_generator=True)
    if "controls" in review.extras:
        for setting in (name for name in SETTINGS if name != "flat"):
            name = f"sweep-{setting.replace(' ', '-')}.flac"
            softer = Sweep(three_digits(level_v / 4))
            yield Take(name, softer, load_ohm, controls=setting, with_generator=True)
    if "loudness" in review.extras:
        for volume in ("half", "quarter"):
            lifted = Sweep(level_v)
            yield Take(f"sweep-loudness-volume-{volume}.flac", lifted, load_ohm,
                       controls=LOUDNESS, volume=volume, with_generator=True)  # fmt: skip
    if "volume" in review.extras:
        tone = Tone(1000.0, level_v)
        yield Take("tone-1k-volume-half.flac", tone, load_ohm, volume="half")


def _separation(review: Review, tone: Tone, load_ohm: float | None) -> Iterator[Take]:
    if review.is_pair:
        return
    for _, output in review.channels:
        yield Take(f"only-{output}-1k.flac", tone, load_ohm, driven=output)


def three_digits(value: float) -> float:
    """A level as a reviewer sets and notes it."""
    return float(f"{value:.3g}")
