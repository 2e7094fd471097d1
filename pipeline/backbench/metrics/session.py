"""What metrics across captures are handed, and what they give back."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from operator import attrgetter
from typing import Any, TypeVar

from backbench.metrics.declaration import Bound, CurveData, MeasuredValue
from backbench.quantities.writing import in_text

Item = TypeVar("Item")


@dataclass(frozen=True)
class Reading:
    """One value of a metric as it stands in the catalogue, without its provenance.

    value and uncertainty are None where status is rejected or not_applicable.
    load_kind: "resistor", "open" or None (no load: a loop-back, a preamplifier into the bench).
    power_w: output power measured on this channel in this capture, where there is one.
    driven: the output that was driven while the others idled, None where all were.
    calibration_key: bench, day and range of the calibration that the value rests on.
    analysis_key: the capture that the value was measured from.
    full_scale_db, pre_emphasis: of a tone that the unit itself plays from a file or disc.
    through_ohm, resistor_percent: the resistor that a tone went through, and its tolerance.
    """

    key: str
    metric: str
    unit_key: str
    output: str
    status: str
    value: float | None
    uncertainty: float | None
    estimation: float | None
    dof: float | None
    bound: Bound | None
    stimulus: str
    frequency_hz: float | None = None
    power_w: float | None = None
    load_ohm: float | None = None
    load_kind: str | None = None
    load_uncertainty: float | None = None
    generator_vrms: float | None = None
    input: str | None = None
    tap: str | None = None
    volume: str | None = None
    driven: str | None = None
    calibration_key: str | None = None
    order: int | None = None
    limit_percent: float | None = None
    detail: dict[str, str] = field(default_factory=dict)
    analysis_key: str = ""
    controls: str | None = None
    minutes_on: float | None = None
    full_scale_db: float | None = None
    pre_emphasis: bool = False
    through_ohm: float | None = None
    resistor_percent: float | None = None


_CAPTURE = attrgetter("metric", "analysis_key", "unit_key", "output")
_CONDITIONS = attrgetter(
    "stimulus", "frequency_hz", "power_w", "load_ohm",
    "load_kind", "generator_vrms", "input", "tap", "volume", "driven", "calibration_key",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class CurveReading:
    """A curve of a capture. `like` is a reading of the same output and capture.

    below: of a swept response, what it is unsure by from below sweeps, dB, by curve.
    """

    curve: str
    like: Reading
    data: CurveData
    below: Mapping[str, CurveData] = field(default_factory=dict)


@dataclass(frozen=True)
class Promised:
    """A figure that a unit's maker published, its limit in the metric's unit."""

    unit_key: str
    metric: str
    side: str
    limit_value: float
    frequency_hz: float | None = None
    band_low_hz: float | None = None
    band_high_hz: float | None = None
    power_w: float | None = None
    load_ohm: float | None = None
    limit_percent: float | None = None


@dataclass(frozen=True)
class Derived:
    """A reading worked out from others. `like` gives the conditions that it inherits."""

    figure: MeasuredValue
    like: Reading
    made_from: tuple[Reading, ...]
    load_ohm: float | None = None
    power_w: float | None = None
    output: str | None = None
    against: str | None = None


@dataclass(frozen=True, eq=False)
class DerivedCurve:
    """A curve worked out across captures, with the conditions and the output of `like`."""

    data: CurveData
    like: Reading
    made_from: tuple[Reading, ...]


@dataclass(frozen=True)
class RefusedDerivation:
    """A derived reading that can't be given although its captures are there, with the reason."""

    reason: str
    like: Reading
    made_from: tuple[Reading, ...]
    limit_percent: float | None = None
    detail: dict[str, str] = field(default_factory=dict)
    frequency_hz: float | None = None


DerivedResult = Derived | RefusedDerivation


@dataclass(frozen=True)
class Session:
    """All readings of one review, for metrics across captures.

    Parameters
    ----------
    readings : sequence of Reading
        With and without a number.
    curves : sequence of CurveReading
        Its responses.
    promised : sequence of Promised
        The published figures of its units.
    rated_power_w : mapping of str to float
        Rated power, W, by unit, of those that state it.
    phases : sequence of CurveReading
        The phases of responses, the arrival of the sweep taken off.
    kinds : mapping of str to str
        Kind of unit by unit.
    """

    readings: Sequence[Reading]
    curves: Sequence[CurveReading] = ()
    promised: Sequence[Promised] = ()
    rated_power_w: Mapping[str, float] = field(default_factory=dict)
    phases: Sequence[CurveReading] = ()
    kinds: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def _by_metric(self) -> dict[Hashable, list[Reading]]:
        return grouped((r for r in self.readings if r.value is not None), lambda r: r.metric)

    @cached_property
    def _by_capture(self) -> dict[Hashable, list[Reading]]:
        return grouped((r for r in self.readings if r.value is not None), _CAPTURE)

    @cached_property
    def _by_conditions(self) -> dict[tuple[object, ...], Reading]:
        by_conditions: dict[tuple[object, ...], Reading] = {}
        for reading in self.readings:
            if reading.value is not None:
                by_conditions.setdefault((*_CAPTURE(reading), *_CONDITIONS(reading)), reading)
        return by_conditions

    @cached_property
    def _worked_out(self) -> dict[Hashable, Any]:
        return {}

    def once(self, make: Callable[[Session], Item]) -> Item:
        """What a function makes of the session: made at the first call, the same one at later ones.

        Parameters
        ----------
        make : callable
            A function of a module, of the session alone. What it gives is not to be changed.

        Returns
        -------
        object
            What it gives.
        """
        if make not in self._worked_out:
            self._worked_out[make] = make(self)
        made: Item = self._worked_out[make]
        return made

    def beside(self, metric: str, like: Reading) -> list[Reading]:
        """Readings of a metric, with a number, on the same output in the same capture.

        Parameters
        ----------
        metric : str
            Its name.
        like : Reading
            Whose unit, output and capture are meant.

        Returns
        -------
        list of Reading
            Empty where there is none.
        """
        return self._by_capture.get((metric, *_CAPTURE(like)[1:]), [])

    def same_capture(self, metric: str, like: Reading) -> Reading | None:
        """The reading of another metric on the same output under all the same conditions.

        Parameters
        ----------
        metric : str
            Its name.
        like : Reading
            Whose unit, output, capture and conditions are meant.

        Returns
        -------
        Reading or None
            The first one with a number.
        """
        return self._by_conditions.get((metric, *_CAPTURE(like)[1:], *_CONDITIONS(like)))

    def of(self, metric: str, **same: object) -> list[Reading]:
        """Readings of a metric that carry a number, with the given conditions equal.

        Parameters
        ----------
        metric : str
            Its name.
        **same
            Values by name of a field of Reading.

        Returns
        -------
        list of Reading
            Empty where there is none.
        """
        matching = self._by_metric.get(metric, [])
        for name, value in same.items():
            matching = [r for r in matching if getattr(r, name) == value]
        return [*matching]


def grouped(
    readings: Iterable[Item], key: Callable[[Item], Hashable]
) -> dict[Hashable, list[Item]]:
    """Readings, or what was made of them, by key, in order of first appearance.

    Parameters
    ----------
    readings : iterable
        What is to be grouped.
    key : callable
        Gives what an item is grouped by, hashable.

    Returns
    -------
    dict of key to list
    """
    groups: dict[Hashable, list[Item]] = {}
    for reading in readings:
        groups.setdefault(key(reading), []).append(reading)
    return groups


MOST_DISTORTION_PERCENT = 5.0
"""Above this an output is being limited, and its fundamental tells no small-signal quantity.

Common practice is to measure "well below the limit"; the figure has no source.
"""


def relative_uncertainty(reading: Reading) -> float:
    """Whole standard uncertainty of a reading re its value.

    Parameters
    ----------
    reading : Reading
        Any.

    Returns
    -------
    float
        >= 0; 0 where the reading has no value or uncertainty, or the value is 0.
    """
    return _relative(reading, reading.uncertainty)


def relative_estimation(reading: Reading) -> float:
    """The part that comes from the reading's own record, re its value.

    Parameters
    ----------
    reading : Reading
        Any.

    Returns
    -------
    float
        >= 0; 0 where the reading has no value or such part, or the value is 0.
    """
    return _relative(reading, reading.estimation)


def _relative(reading: Reading, part: float | None) -> float:
    return abs((part or 0.0) / reading.value) if reading.value else 0.0


def distortion_of(session: Session, reading: Reading) -> float:
    """THD in percent of the capture that a reading comes from; 0 where it isn't known.

    Parameters
    ----------
    session : Session
        Of the review.
    reading : Reading
        One of its readings.

    Returns
    -------
    float
        %. Where the harmonics aren't in band, from all that is beside the tone.
    """
    kinds = ("thd", "thd_n_wide", "thd_n")
    distortion = next((r for name in kinds if (r := session.same_capture(name, reading))), None)
    return (distortion.value or 0.0) if distortion else 0.0


def limited(session: Session, reading: Reading) -> str | None:
    """Why a level tells nothing of small signals; None unless its output is being limited.

    Parameters
    ----------
    session : Session
        Of the review.
    reading : Reading
        One of its readings.

    Returns
    -------
    str or None
        The reason, above 5 % distortion (common practice is to measure "well below the limit"; the
        figure has no source).
    """
    percent = distortion_of(session, reading)
    if percent <= MOST_DISTORTION_PERCENT:
        return None
    drive = f" at {in_text(reading.generator_vrms, 'V')} drive" if reading.generator_vrms else ""
    return f"{in_text(percent, '%', 2)} distortion{drive}: the output is being limited"


NEARLY_BEST = 1.2
"""Uncertainties up to this many times the least are as good: the cleaner capture decides."""


def cleanest(session: Session, candidates: Sequence[tuple[Sequence[Reading], float]]) -> int:
    """Which of several groups of readings to take, each given with its uncertainty.

    Parameters
    ----------
    session : Session
        Of the review.
    candidates : sequence of (sequence of Reading, float)
        Groups, each with its uncertainty, in one unit; at least one, none of them empty.

    Returns
    -------
    int
        Position of the chosen one.

    Notes
    -----
    Of those whose uncertainty is within 1.2 times the least, that of least distortion: near its
    limit an output compresses, and a ratio of levels is no longer one of gains. Then the first.
    """
    least = min(u for _, u in candidates)
    distortion = [
        max(distortion_of(session, reading) for reading in group)
        if u <= NEARLY_BEST * least else math.inf
        for group, u in candidates
    ]  # fmt: skip
    return distortion.index(min(distortion))
