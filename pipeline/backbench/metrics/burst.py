"""Bursts of a sine: level, power, distortion within them, and headroom re the rated power."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from backbench.documents.stimuli import Burst
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declaration import CaptureData, MeasuredValue, derived, metric, view
from backbench.metrics.session import (
    Derived,
    DerivedResult,
    Reading,
    RefusedDerivation,
    Session,
    grouped,
    relative_estimation,
    relative_uncertainty,
)
from backbench.metrics.session_spreads import LEVELS
from backbench.metrics.traits import Traits
from backbench.quantities.writing import exact, in_text
from backbench.signal.burst import Bursts, read_bursts
from backbench.signal.quantisation_step import rounding
from backbench.signal.track import Track
from backbench.signal.uncertainty import ONE_SIDED, Contribution, combine

FAMILY = "Power and headroom"

BURSTS = ["burst", "burst trace table"]
CLEAR = 4.0
"""How many times what a trace's converter may add distortion must be to count as measured."""
LIMIT_PERCENT = 1.0
"""Distortion within a burst up to which it counts as unclipped: common practice, no source."""
FLAT_PERCENT = 3.0
"""Crests that are lower by more are clipped: a sine clipped on both sides to 1 % distortion has
2.4 % (reckoned), harmonics of 1 % together bend them by less."""
DB_PER_RELATIVE_POWER = 10 / math.log(10)
IHF_BURST = (1000.0, 20.0, 500.0)
"""Frequency in Hz, duration and period in ms (IHF-A-202:1978, from memory)."""
SAME_BURST = 0.05
OTHER_BURST = "burst"
_IHF = "IHF-A-202:1978 (from memory)"


@dataclass(frozen=True, eq=False)
class BurstView:
    """One output's track of bursts. step: of the converter that took a trace, V; 0 of a recording,
    whose converter is checked elsewhere. remark: where an instrument's own error is not known."""

    capture_data: CaptureData
    played: Burst
    track: Track
    bursts: Bursts
    step: float = 0.0
    remark: str | None = None

    @property
    def coarse(self) -> float:
        """Harmonics that a trace's converter may add, re the fundamental: its steps and how far
        they may lie from their places."""
        return math.sqrt(2) * rounding(self.step) / self.level

    @property
    def level(self) -> float:
        """Mean rms of the fundamental within the bursts, V."""
        return float(np.mean(self.bursts.levels))

    @property
    def own(self) -> Contribution:
        """Relative standard uncertainty of the level: scatter of the bursts where there are
        three or more, else their noise."""
        number = len(self.bursts.levels)
        noise = self.bursts.noise / math.sqrt(number)
        if number < 3:
            return Contribution(noise)
        scatter = float(np.std(self.bursts.levels, ddof=1)) / self.level / math.sqrt(number)
        return Contribution(max(scatter, noise), number - 1 if scatter > noise else math.inf)


@view("burst", version=5)
def burst_view(capture_data: CaptureData, number: int) -> BurstView:
    """The bursts in output track `number`. Raises Refusal where they are not those stated."""
    stimulus, track = capture_data.stimulus, capture_data.outputs[number]
    assert isinstance(stimulus, Burst)
    if capture_data.driven_track not in (None, number):
        raise Refusal("this output was not driven in this capture")
    bursts = read_bursts(track, stimulus.burst_hz, stimulus.on_ms / 1e3, stimulus.period_ms / 1e3)
    return BurstView(capture_data, stimulus, track, bursts)


@metric(
    "burst_level", title="Burst level", unit="V", better="neither", source=_IHF,
    stimuli=BURSTS, version=1,
    choice="rms of the fundamental, two periods at either end left out, mean over the bursts",
)  # fmt: skip
def burst_level(seen: BurstView) -> MeasuredValue:
    """Root mean square of the fundamental within the bursts."""
    own = seen.own
    total = combine(
        [
            Contribution(own.u * seen.level, own.dof),
            Contribution(seen.track.calibration * seen.level),
        ]
    )
    return MeasuredValue(
        seen.level, total.u, own.u * seen.level, total.dof, remark=seen.remark
    )  # fmt: skip


@metric(
    "burst_power", title="Burst power", unit="W", better="neither", source=_IHF,
    stimuli=BURSTS, version=2,
    choice="of the fundamental, while a burst is on, into the stated resistor",
    traits=Traits(own_stimulus="power"),
)  # fmt: skip
def burst_power(seen: BurstView) -> MeasuredValue:
    """Squared rms within the bursts over the load's resistance."""
    load = seen.capture_data.conditions.load_resistance
    if load is None:
        raise NotApplicable("no resistor was connected as a load")
    power, own = seen.level**2 / load, seen.own
    shared = math.hypot(2 * seen.track.calibration, seen.capture_data.load_uncertainty)
    total = combine([Contribution(2 * own.u * power, own.dof), Contribution(shared * power)])
    detail = _other_burst(seen.played)
    return MeasuredValue(
        power, total.u, 2 * own.u * power, total.dof, detail=detail, remark=seen.remark
    )


def _other_burst(stimulus: Burst) -> dict[str, str]:
    """Names a burst that isn't that of IHF-A-202; nothing for one that is."""
    burst = (stimulus.burst_hz, stimulus.on_ms, stimulus.period_ms)
    if all(abs(one / own - 1) <= SAME_BURST for one, own in zip(burst, IHF_BURST, strict=True)):
        return {}
    length, period = (exact(time, "ms") for time in burst[1:])
    return {OTHER_BURST: f"{length} of {exact(burst[0], 'Hz')} every {period}"}


@metric(
    "burst_distortion", title="THD in bursts", unit="%", better="lower",
    source="IEC 60268-3:2013, 14.12 (second-hand), within a burst",
    stimuli=BURSTS, version=1, choice="re the fundamental; harmonics 2 to 10",
)  # fmt: skip
def burst_distortion(seen: BurstView) -> MeasuredValue:
    """Root sum square of harmonics 2 to 10 over the fundamental, while a burst is on."""
    part = seen.bursts.harmonics
    if not part.stands_out or part.rms < CLEAR * seen.coarse * seen.level:
        most = part.at_most / seen.level + 2 * seen.coarse
        return MeasuredValue(100 * most, 0.0, bound="upper")
    value = 100 * part.rms / seen.level
    own = math.hypot(value * math.hypot(part.relative, seen.own.u), 100 * seen.coarse)
    return MeasuredValue(value, own, own, part.samples)


@metric(
    "burst_end_distortion", title="THD at the ends of bursts", unit="%", better="lower",
    source="IEC 60268-3:2013, 14.12 (second-hand), within a burst",
    stimuli=BURSTS, version=1,
    choice="re the fundamental; harmonics 2 to 10; periods 2 to 4 from either end, the greater",
)  # fmt: skip
def burst_end_distortion(seen: BurstView) -> MeasuredValue:
    """Root sum square of harmonics 2 to 10 in the first or the last periods of the bursts."""
    worst = max(seen.bursts.ends, key=lambda end: end.value)
    if not worst.stands_out or worst.rms < CLEAR * seen.coarse:
        most = max(end.at_most for end in seen.bursts.ends) + 2 * seen.coarse
        return MeasuredValue(100 * most, 0.0, bound="upper")
    own = 100 * math.hypot(worst.rms * worst.relative, seen.coarse)
    return MeasuredValue(100 * worst.rms, own, own, worst.samples)


@metric(
    "burst_flattening", title="Flattening of bursts", unit="%", better="lower",
    source="common practice, no source",
    stimuli=BURSTS, version=2,
    choice="mean crest of the lower half wave re the crest of the fundamental, the greatest of the "
    "first, middle and last periods; an upper bound where it is no more than noise or samples "
    "beside the crest make",
)  # fmt: skip
def burst_flattening(seen: BurstView) -> MeasuredValue:
    """How much lower the crests of the bursts are than those of their fundamental."""
    turns = math.pi * seen.bursts.frequency_hz / seen.track.rate_hz
    per_sample = seen.bursts.noise * math.sqrt(seen.bursts.harmonics.samples)
    own = 100 * math.hypot((1 - math.cos(turns)) / math.sqrt(3), per_sample)
    value = 100 * max(seen.bursts.flattened, 0.0)
    if value <= 2 * own:
        return MeasuredValue(value + ONE_SIDED * own, own, own, bound="upper")
    return MeasuredValue(value, own, own)


@metric(
    "burst_peak", title="Burst peak", unit="V", better="neither", source=_IHF,
    stimuli=BURSTS, version=2,
    choice="greatest magnitude of a sample, noise included; given only below 1 % distortion",
)  # fmt: skip
def burst_peak(seen: BurstView) -> MeasuredValue:
    """Greatest instantaneous voltage that the bursts reach unclipped."""
    within = seen.bursts.harmonics.rms / seen.level
    percent = 100 * max(within, *(end.rms for end in seen.bursts.ends))
    if percent > LIMIT_PERCENT:
        raise NotApplicable(f"{in_text(percent, '%', 2)} distortion: the bursts are clipped")
    flat = 100 * seen.bursts.flattened
    if flat > FLAT_PERCENT:
        raise NotApplicable(f"crests {in_text(flat, '%', 2)} low: the bursts are clipped")
    peak = seen.bursts.peak
    # A sample may miss the crest by half a sampling interval; noise raises the greatest one.
    turns = math.pi * seen.bursts.frequency_hz / seen.track.rate_hz
    own = math.hypot(peak * (1 - math.cos(turns)) / math.sqrt(3), 3 * seen.bursts.noise * peak)
    total = combine([Contribution(own), Contribution(seen.track.calibration * peak)])
    return MeasuredValue(peak, total.u, own, total.dof, remark=seen.remark)


@derived(
    "dynamic_headroom", title="Dynamic headroom", unit="dB", better="higher", source=_IHF,
    version=3,
    choice="of bursts of 20 ms of 1 kHz every 500 ms alone: between the greatest power below 1 % "
    "distortion within the bursts and at their ends, whose crests are not 3 % low (taken as "
    "unclipped), and the next above it, the step between them in the "
    "uncertainty, over the unit's rated power; a lower bound where no stronger burst was clipped",
    traits=Traits(session_spread=LEVELS),
)  # fmt: skip
def dynamic_headroom(session: Session) -> Iterator[DerivedResult]:
    """10 lg of the power that bursts reach unclipped over the rated power."""
    powers = [
        r for r in session.of("burst_power")
        if r.unit_key in session.rated_power_w and OTHER_BURST not in r.detail
    ]  # fmt: skip
    for same in grouped(powers, _place).values():
        yield _headroom(session, sorted(same, key=lambda r: r.value or 0.0))


def _unclipped(session: Session, power: Reading) -> bool:
    """Whether the first and last periods and the crests of a capture's bursts aren't clipped."""
    for metric_name, most in (
        ("burst_end_distortion", LIMIT_PERCENT), ("burst_flattening", FLAT_PERCENT),
    ):  # fmt: skip
        reading = session.same_capture(metric_name, power)
        if reading is not None and reading.bound is None and (reading.value or 0.0) > most:
            return False
    return True


def _place(r: Reading) -> tuple[object, ...]:
    return (r.unit_key, r.output, r.frequency_hz, r.load_ohm, r.input, r.tap, r.volume, r.controls)


def _headroom(session: Session, powers: list[Reading]) -> DerivedResult:
    rated = session.rated_power_w[powers[0].unit_key]
    pairs = [(r, session.same_capture("burst_distortion", r)) for r in powers]
    known = [(r, d) for r, d in pairs if d is not None and d.value is not None]
    sources = tuple(one for pair in known for one in pair) or tuple(powers)
    clean = [r for r, d in known if (d.value or 0.0) <= LIMIT_PERCENT and _unclipped(session, r)]
    if not clean:
        return RefusedDerivation("every burst is clipped", powers[0], sources)
    best = clean[-1]
    above = [r for r, _ in known if r not in clean and (r.value or 0.0) >= (best.value or 0.0)]
    step = math.log((above[0].value or math.nan) / (best.value or math.nan)) if above else 0.0
    # Clipping begins anywhere between the last burst without it and the first with it.
    power = (best.value or math.nan) * math.exp(step / 2)
    u, own = (
        DB_PER_RELATIVE_POWER * math.hypot(of(best), step / math.sqrt(12))
        for of in (relative_uncertainty, relative_estimation)
    )
    figure = MeasuredValue(10 * math.log10(power / rated), u, own, bound=None if above else "lower")
    return Derived(figure, best, sources, power_w=power)
