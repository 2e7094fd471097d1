"""How a metric, a view of a capture and a curve are declared.

A metric is one decorated function in one file of this package. The function's first
docstring line is the metric's definition. Discovery is in registry.py.

A *view* is what one track of a capture looks like to the metrics of its stimulus: for a
tone, its spectrum with fundamental and harmonics found once. Every metric and curve of
that stimulus is handed the same view.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable
from dataclasses import dataclass, field
from inspect import isgeneratorfunction
from typing import TYPE_CHECKING, Any

from backbench.metrics.declared_metric import NO_FAMILY, Better, Declared
from backbench.metrics.measured_value import Bound as Bound
from backbench.metrics.measured_value import MeasuredValue as MeasuredValue
from backbench.metrics.traits import PLAIN, PLAIN_CURVE, CurveTraits, Traits

if TYPE_CHECKING:  # whoever only reads declarations needs none of the numerics
    from backbench.documents.manifest import Conditions
    from backbench.documents.stimuli import Stimulus
    from backbench.signal.track import Array, Track


@dataclass(frozen=True, eq=False)
class CaptureData:
    """One capture as the analysis sees it: calibrated tracks and the conditions they had.

    Parameters
    ----------
    stimulus : Stimulus
        What was played.
    conditions : Conditions
        What it was taken under.
    outputs : dict of int to Track
        Tracks of the unit's outputs, V, by position in the file (from 1).
    generator : Track or None
        The track that recorded the generator itself, where there is one.
    reference : Track or None
        For a sweep, what was played (from a reference track or file), volts or full scale.
    table : dict of str to ndarray of float64, or None
        For an already reduced table, its columns by declared name, in SI units.
    table_uncertainty : dict of str to ndarray of float64
        Standard uncertainty of the table's values by column; else that of their last decimal.
    table_remark : str or None
        Rows of the table that were left out, and why.
    load_uncertainty, generator_uncertainty : float
        Relative standard uncertainty of the load's resistance and of the stated level, >= 0.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where it was not stated.
    driven_track : int or None
        The one output track that was driven while the others idled, None where all were.
    names : dict of int to str
        The outputs' names ("left", "right") by position in the file.
    bench : CaptureData or None
        The bench's own loop-back under the same stimulus and input range, where there is one.
    bench_levels : tuple of CaptureData
        Further loop-backs of that kind, at other levels.
    currents : dict of int to Track
        Currents through the loads, A, by the position of the output's track.
    witness : CaptureData or None
        Of a capture with nothing playing, a tone that the same recorder took in the session.
    """

    stimulus: Stimulus
    conditions: Conditions
    outputs: dict[int, Track]
    generator: Track | None = None
    reference: Track | None = None
    table: dict[str, Array] | None = None
    table_uncertainty: dict[str, Array] = field(default_factory=dict)
    table_remark: str | None = None
    load_uncertainty: float = 0.0
    generator_uncertainty: float = 0.0
    mains_hz: float | None = None
    driven_track: int | None = None
    names: dict[int, str] = field(default_factory=dict)
    bench: CaptureData | None = None
    bench_levels: tuple[CaptureData, ...] = ()
    currents: dict[int, Track] = field(default_factory=dict)
    witness: CaptureData | None = None


@dataclass(frozen=True, kw_only=True)
class Metric(Declared):
    """A declared quantity with its definition and what measures it."""

    source: str
    choice: str
    definition: str
    measure: Callable[[Any], MeasuredValue | Iterable[MeasuredValue]] | None
    derive: Callable[[Any], Iterable[Any]] | None = None


Steps = Generator[None, None, Any]


@dataclass(frozen=True)
class View:
    """How a track of one stimulus kind is prepared, once, for all its metrics.

    Parameters
    ----------
    stimulus : str
        The kind of stimulus.
    version : int
        Raised whenever the same bytes may give another view.
    build : callable
        Takes a CaptureData and the number of an output track (from 1), gives the view.
    parts : str or None
        Where a capture holds several levels, the kind whose metrics are asked of each; `build` then
        gives a sequence of LevelPart.
    steps : callable or None
        As `build`, a generator that stops between steps, so that several tracks may take turns:
        what has just been done for one is done for the next in less time.
    """

    stimulus: str
    version: int
    build: Callable[[CaptureData, int], Any]
    parts: str | None = None
    steps: Callable[[CaptureData, int], Steps] | None = None


@dataclass(frozen=True, eq=False)
class CurveData:
    """Arrays of a reading. x ascending; all of one length; units as the trade writes them.

    Parameters
    ----------
    x, y : ndarray of float64, shape (n,)
        x ascending; y in the curve's y unit.
    uncertainty : ndarray of float64, shape (n,), or None
        Standard uncertainty of y.
    """

    x: Array
    y: Array
    uncertainty: Array | None = None


@dataclass(frozen=True)
class Curve:
    """A declared curve: response, spectrum, impedance, waveform."""

    name: str
    title: str
    x_unit: str
    y_unit: str
    version: int
    stimuli: tuple[str, ...]
    trace: Callable[[Any], CurveData] | None
    derive: Callable[[Any], Iterable[Any]] | None = None
    traits: CurveTraits = PLAIN_CURVE


def metric(
    name: str,
    *,
    title: str,
    unit: str,
    better: Better,
    source: str,
    stimuli: Iterable[str],
    version: int,
    choice: str = "",
    traits: Traits = PLAIN,
) -> Callable[[Callable[[Any], MeasuredValue | Iterable[MeasuredValue]]], Metric]:
    """Declare a metric measured on one track of one capture.

    Parameters
    ----------
    name : str
        Its name in the catalogue.
    title : str
        As people read it.
    unit : str
        Of its values.
    better : {"lower", "higher", "nearer zero", "neither"}
        Which way is better.
    source : str
        Standard and clause, or "common practice, no source".
    stimuli : iterable of str
        Kinds of stimulus that it is measured under.
    version : int
        Raised whenever the same bytes may give another value.
    choice : str, optional
        What was taken where the source leaves a choice.
    traits : Traits, optional
        How the rest of the program treats its readings.

    Returns
    -------
    callable
        Turns the decorated function into a Metric, whose definition is the first paragraph of the
        function's docstring.

    Notes
    -----
    The decorated function takes the view of its stimulus and gives one MeasuredValue or several
    (which then differ in order, frequency_hz, limit_percent or detail). It raises Refusal
    where no honest number exists and NotApplicable where the quantity has no meaning.
    """

    def declare(measure: Callable[[Any], MeasuredValue | Iterable[MeasuredValue]]) -> Metric:
        text = " ".join((measure.__doc__ or "").strip().split("\n\n")[0].split())
        return Metric(
            name=name, title=title, unit=unit, better=better, source=source, choice=choice,
            version=version, stimuli=tuple(stimuli), definition=text, measure=measure,
            traits=traits, family=_family(measure),
        )  # fmt: skip

    return declare


def derived(
    name: str,
    *,
    title: str,
    unit: str,
    better: Better,
    source: str,
    version: int,
    choice: str = "",
    traits: Traits = PLAIN,
) -> Callable[[Callable[[Any], Iterable[Any]]], Metric]:
    """Declare a metric that is worked out across the captures of a review.

    Parameters
    ----------
    name, title, unit, better, source, version, choice, traits
        As of metric.

    Returns
    -------
    callable
        Turns the decorated function into a Metric without stimuli.

    Notes
    -----
    The decorated function takes a Session (see session.py) and gives Derived readings.
    """

    def declare(derive: Callable[[Any], Iterable[Any]]) -> Metric:
        text = " ".join((derive.__doc__ or "").strip().split("\n\n")[0].split())
        return Metric(
            name=name, title=title, unit=unit, better=better, source=source, choice=choice,
            version=version, stimuli=(), definition=text, measure=None, derive=derive,
            traits=traits, family=_family(derive),
        )  # fmt: skip

    return declare


def _family(made_by: Any) -> str:
    """The FAMILY that stands in the module of a function, before the function."""
    return str(made_by.__globals__.get("FAMILY", NO_FAMILY))


def view(
    stimulus: str, *, version: int, parts: str | None = None
) -> Callable[[Callable[[CaptureData, int], Any]], View]:
    """Declare how an output track of a capture is prepared.

    Parameters
    ----------
    stimulus, version, parts
        See View.

    Returns
    -------
    callable
        Turns the decorated function, or the generator of its steps, into a View. A Refusal that it
        raises stands for all metrics of the track.
    """

    def declare(build: Callable[[CaptureData, int], Any]) -> View:
        if isgeneratorfunction(build):
            return View(stimulus, version, _at_once(build), parts, build)
        return View(stimulus, version, build, parts)

    return declare


def _at_once(steps: Callable[[CaptureData, int], Steps]) -> Callable[[CaptureData, int], Any]:
    """All steps one after the other."""

    def build(capture_data: CaptureData, number: int) -> Any:
        running = steps(capture_data, number)
        while True:
            try:
                next(running)
            except StopIteration as end:
                return end.value

    return build


def curve(
    name: str,
    *,
    title: str,
    x_unit: str,
    y_unit: str,
    stimuli: Iterable[str],
    version: int,
    traits: CurveTraits = PLAIN_CURVE,
) -> Callable[[Callable[[Any], CurveData]], Curve]:
    """Declare a curve drawn from a view.

    Parameters
    ----------
    name, title, stimuli, version, traits
        As of metric.
    x_unit, y_unit : str
        As the trade writes them.

    Returns
    -------
    callable
        Turns the decorated function, from a view to a CurveData, into a Curve.
    """

    def declare(trace: Callable[[Any], CurveData]) -> Curve:
        return Curve(
            name=name, title=title, x_unit=x_unit, y_unit=y_unit, version=version,
            stimuli=tuple(stimuli), trace=trace, traits=traits,
        )  # fmt: skip

    return declare


def derived_curve(
    name: str, *, title: str, x_unit: str, y_unit: str, version: int
) -> Callable[[Callable[[Any], Iterable[Any]]], Curve]:
    """Declare a curve that is worked out across the captures of a review.

    Parameters
    ----------
    name, title, x_unit, y_unit, version
        As of curve.

    Returns
    -------
    callable
        Turns the decorated function into a Curve without stimuli.

    Notes
    -----
    The decorated function takes a Session and gives DerivedCurve (see session.py).
    """

    def declare(derive: Callable[[Any], Iterable[Any]]) -> Curve:
        return Curve(
            name=name, title=title, x_unit=x_unit, y_unit=y_unit, version=version, stimuli=(),
            trace=None, derive=derive,
        )  # fmt: skip

    return declare
