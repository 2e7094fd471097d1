"""What a recording holds, told from its samples alone, or that it can't be told.

Only stimuli that were played steadily are recognised; whatever changes in a way that no stimulus
does (music, speech, handling noise) is left unnamed. Thresholds are common practice, no source,
and are held against simulated captures in the tests.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from backbench.bench_day.burst_envelope import Gates, Plateaus, frequencies, gates, levels, plateaus
from backbench.bench_day.strongest_lines import Line, line_power, strongest_lines
from backbench.quantities.writing import in_text
from backbench.signal.spectrum import Spectrum, spectrum
from backbench.signal.track import Array, Track

SHORTEST_S = 0.08
STEADY = 1.12
"""Greatest over least short-time level of a steady stimulus."""
QUIET = 10 ** (-30 / 20)
"""Nothing played: a level above this, re full scale, is not the noise of a unit."""
NICE = (1.0, 1.2, 1.5, 1.6, 2.0, 2.5, 3.0, 3.15, 4.0, 5.0, 6.0, 6.3, 7.0, 8.0, 9.0, 10.0)


@dataclass(frozen=True)
class RecognisedStimulus:
    """A stimulus recognised. stimulus: as a manifest has it, levels as "unknown"."""

    kind: str
    description: str
    stimulus: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Unknown:
    """Nothing that could be named, with the reason."""

    reason: str


@dataclass(frozen=True, eq=False)
class Sound:
    """The strongest track of a recording, its steady part taken off, re full scale."""

    volts: Array
    rate_hz: float
    step: float

    @cached_property
    def rms(self) -> float:
        return float(np.sqrt(np.mean(np.square(self.volts))))

    @cached_property
    def spectrum(self) -> Spectrum:
        return spectrum(Track(self.volts, self.rate_hz, 1.0, 0.0, None))

    @cached_property
    def lines(self) -> list[Line]:
        return strongest_lines(self.spectrum)

    @cached_property
    def total(self) -> float:
        """Power without the steady part."""
        return float(self.spectrum.power[self.spectrum.window.half_width :].sum())

    def spread(self, block_s: float) -> float:
        """Greatest over least short-time level."""
        levels_of_blocks = levels(self.volts, self.rate_hz, block_s)
        return float(levels_of_blocks.max() / max(levels_of_blocks.min(), 1e-12))

    @cached_property
    def steady(self) -> bool:
        """Whether level and lines are the same all along."""
        longest = max(0.02, 4 / max(min(line.hz for line in self.lines[:2]), 1.0))
        return self.spread(longest) < STEADY and self._halves_agree()

    def _halves_agree(self) -> bool:
        half = len(self.volts) // 2
        parts = [self.volts[:half], self.volts[half : 2 * half]]
        spectra = [spectrum(Track(part, self.rate_hz, 1.0, 0.0, None)) for part in parts]
        for line in self.lines[:3]:
            if line.power < 0.05 * self.total:
                continue
            first, second = (line_power(one, line.hz) for one in spectra)
            if not 1 / STEADY < first / max(second, 1e-30) < STEADY:
                return False
        return True


def recognise(samples: Array, rate_hz: float, bits: int | None) -> RecognisedStimulus | Unknown:
    """Name the stimulus in samples of shape (n, tracks), re full scale.

    bits: word length of the file, None for floating point.
    """
    if samples.shape[0] < SHORTEST_S * rate_hz:
        return Unknown("too short to tell")
    centred = samples - samples.mean(axis=0)
    strongest = int(np.argmax(np.square(centred).sum(axis=0)))
    step = 2.0 ** -((bits or 24) - 1)
    sound = Sound(np.ascontiguousarray(centred[:, strongest]), rate_hz, step)
    if sound.rms < 1.5 * step:
        return Unknown("silence: nothing but the converter's last step")
    return next(_named(sound), Unknown("no stimulus that is known: music, speech or a mixture?"))


def _named(sound: Sound) -> Iterator[RecognisedStimulus]:
    """Everything that the sound may be, the surest first."""
    tests: tuple[Callable[[Sound], RecognisedStimulus | None], ...] = (
        _idle, _sweep, _square, _two_tones, _tone, _multitone, _steps, _burst,
    )  # fmt: skip
    for test in tests:
        stimulus = test(sound)
        if stimulus is not None:
            yield stimulus


def _idle(sound: Sound) -> RecognisedStimulus | None:
    """Low, even all along, with no lines but those of the mains."""
    if sound.rms > QUIET or sound.spread(0.04) > 1.8:
        return None
    foreign = sum(
        line.power for line in sound.lines
        if line.stands and line.power > 0.003 * sound.total and not _of_mains(line.hz, sound)
    )  # fmt: skip
    alone = sound.lines[0].power > 0.995 * sound.total
    if alone or foreign > 0.05 * sound.total or not sound.spread(0.15) < 1.5:
        return None
    return RecognisedStimulus("idle", "nothing played", {"idle": ""})


def _of_mains(hz: float, sound: Sound) -> bool:
    """Whether a frequency is one of the first ten multiples of either mains frequency."""
    width = sound.spectrum.resolution_hz + 0.002 * hz
    return any(
        abs(hz - mains * min(max(round(hz / mains), 1), 10)) < width for mains in (50.0, 60.0)
    )


def _family(sound: Sound, hz: float) -> Array:
    """Power of the fundamental and its harmonics up to the twentieth, as far as they fit."""
    orders = np.arange(1, min(20, int(0.48 * sound.rate_hz / hz)) + 1)
    return np.array([line_power(sound.spectrum, hz * k) for k in orders])


def _square(sound: Sound) -> RecognisedStimulus | None:
    """Odd harmonics that fall as their number, even ones absent."""
    hz = sound.lines[0].hz
    family = _family(sound, hz)
    if not sound.steady or len(family) < 3 or family.sum() < 0.9 * sound.total:
        return None
    relative = np.sqrt(family / family[0])
    odd, even = relative[2:8:2], relative[1:8:2]
    expected = 1 / np.arange(3, 3 + 2 * len(odd), 2)
    fallen = odd[0] < 0.6 * expected[0] or np.any(odd[1:] < 0.3 * expected[1:])
    if fallen or np.any(odd > 1.4 * expected) or even.max() > 0.1:
        return None
    return RecognisedStimulus("square", f"a square wave of {_hz(hz, sound)}",
                 {"square_hz": _tidy(hz, sound), "generator_vpp": "unknown"})  # fmt: skip


def _tone(sound: Sound) -> RecognisedStimulus | None:
    hz = sound.lines[0].hz
    family = _family(sound, hz)
    if not sound.steady or family.sum() < 0.85 * sound.total or family[0] < 0.7 * sound.total:
        return None
    return RecognisedStimulus("tone", f"a tone of {_hz(hz, sound)}",
                 {"tone_hz": _tidy(hz, sound), "generator_vrms": "unknown"})  # fmt: skip


def _two_tones(sound: Sound) -> RecognisedStimulus | None:
    if len(sound.lines) < 2:
        return None
    strong = sorted(sound.lines[:2], key=lambda line: line.hz)
    both = sum(line.power for line in strong)
    third = sound.lines[2].power if len(sound.lines) > 2 else 0.0
    weaker = min(line.power for line in strong)
    if both < 0.6 * sound.total or weaker < 0.01 * both or third > 0.3 * weaker:
        return None
    times = strong[1].hz / strong[0].hz
    harmonic = times < 10.5 and abs(times - round(times)) < 0.01
    hum = _of_mains(sound.lines[1].hz, sound) and weaker < 0.1 * both
    if harmonic or hum or not sound.steady:
        return None
    ratio = float(np.sqrt(strong[0].power / strong[1].power))
    frequencies = " and ".join(_hz(line.hz, sound) for line in strong)
    return RecognisedStimulus("two tones", f"two tones, {frequencies}", {
        "tones_hz": [_tidy(line.hz, sound) for line in strong],
        "ratio": float(round(ratio)) if ratio > 0.9 else round(ratio, 2),
        "generator_vrms": "unknown"})  # fmt: skip


def _multitone(sound: Sound) -> RecognisedStimulus | None:
    """Several lines of like strength that together are nearly all there is."""
    strong = [line for line in sound.lines if line.power > 0.02 * sound.lines[0].power]
    if len(strong) < 5 or sum(line.power for line in strong) < 0.9 * sound.total:
        return None
    if sound.spread(0.15) > 1.25 or not sound._halves_agree() or _is_note(strong):
        return None
    tones_hz = sorted(_tidy(line.hz, sound) for line in strong)
    ends = " to ".join(in_text(hz, "Hz", 6) for hz in (tones_hz[0], tones_hz[-1]))
    text = f"{len(tones_hz)} tones, {ends}"
    stimulus = {"multitone_hz": tones_hz, "generator_vrms": "unknown"}
    return RecognisedStimulus("multitone", text, stimulus)


def _is_note(strong: list[Line]) -> bool:
    """Whether lines are a fundamental and its weaker harmonics: an instrument's held note."""
    lowest, second = sorted(strong, key=lambda line: line.hz)[:2]
    times = [line.hz / lowest.hz for line in strong]
    harmonic = all(abs(ratio - round(ratio)) < 0.02 for ratio in times)
    return harmonic and second.power < 0.7 * lowest.power


def _sweep(sound: Sound) -> RecognisedStimulus | None:
    """One frequency that rises by the same factor in the same time."""
    time, hz, active = frequencies(sound.volts, sound.rate_hz)
    if active.sum() < 8 or hz[active][-1] < 8 * hz[active][0]:
        return None
    octaves = np.log2(hz[active])
    rising = np.mean(np.diff(octaves) > -0.02)
    slope, offset = np.polyfit(time[active], octaves, 1)
    apart = np.abs(octaves - (slope * time[active] + offset))
    if rising < 0.95 or slope <= 0 or float(np.quantile(apart, 0.9)) > 0.25:
        return None
    low, high = _ends(sound, slope, offset)
    seconds = float(np.log2(high / low) / slope)
    ends = " to ".join(in_text(hz, "Hz", 6) for hz in (low, high))
    text = f"a sweep from about {ends} in {in_text(seconds, 's', 2)}"
    return RecognisedStimulus("sweep", text, {
        "sweep_hz": [low, high], "sweep_s": float(f"{seconds:.2g}"),
        "generator_vrms": "unknown"})  # fmt: skip


def _ends(sound: Sound, slope: float, offset: float) -> tuple[float, float]:
    """Frequencies at which the signal begins and ends, as round numbers."""
    loud = np.flatnonzero(np.abs(sound.volts) > 0.02 * np.abs(sound.volts).max())
    start, stop = loud[0] / sound.rate_hz, loud[-1] / sound.rate_hz
    top = 0.5 * sound.rate_hz
    return _round(2 ** (slope * start + offset)), min(_round(2 ** (slope * stop + offset)), top)


def _steps(sound: Sound) -> RecognisedStimulus | None:
    steps: Plateaus | None = plateaus(sound.volts, sound.rate_hz, sound.lines[0].hz)
    hz = sound.lines[0].hz
    if steps is None or _family(sound, hz)[0] < 0.5 * sound.total:
        return None
    return RecognisedStimulus("steps", f"{steps.count} rising steps of {_hz(hz, sound)}",
                 {"steps_hz": _tidy(hz, sound), "step_s": steps.seconds})  # fmt: skip


def _burst(sound: Sound) -> RecognisedStimulus | None:
    bursts: Gates | None = gates(sound.volts, sound.rate_hz)
    if bursts is None:
        return None
    return RecognisedStimulus("burst", f"bursts of about {in_text(bursts.hz, 'Hz')}", {
        "burst_hz": _round(bursts.hz), "on_ms": bursts.on_ms, "period_ms": bursts.period_ms,
        "generator_vrms": "unknown"})  # fmt: skip


def _tidy(hz: float, sound: Sound) -> float:
    """The whole number of Hz where the line is one within what the record can tell."""
    whole = float(round(hz))
    near = abs(hz - whole) < max(0.05 * sound.spectrum.resolution_hz, 3e-4 * hz)
    return whole if near and whole > 0 else float(f"{hz:.6g}")


def _hz(hz: float, sound: Sound) -> str:
    return in_text(_tidy(hz, sound), "Hz", 6)


def _round(hz: float) -> float:
    """The nearest number that a person would have set."""
    decade = 10.0 ** np.floor(np.log10(hz))
    return float(f"{min((n * decade for n in NICE), key=lambda n: abs(np.log(hz / n))):.4g}")
