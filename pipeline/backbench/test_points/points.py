"""Test points: the conditions at which units may be compared."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, Literal

from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.input_sorts import (
    COIL,
    HEADPHONE_SOCKET,
    HEADPHONES,
    INPUTS,
    LINE,
    PHONO,
    TUNER,
)
from backbench.documents.kinds import tuner_kinds
from backbench.errors import Fault, UserError
from backbench.metrics.declared_traits import declarations
from backbench.metrics.traits import BY_HAND, BY_HAND_POINT, PointFamily
from backbench.quantities.writing import in_text

if TYPE_CHECKING:
    from backbench.documents.settings import CustomTestPoint, Settings

OWN_AT_INPUTS = (
    "idle", "gain-1khz", "channels-1khz", "tone-1khz-5w-8ohm", "preamp-1khz-2v", "response",
    "overload-1khz", "input-1khz",
)  # fmt: skip
"""Test points that stand again for an equalised input."""
OWN_AT_HEADPHONES = (
    "idle", "idle-volume-down", "gain-1khz", "channels-1khz", "impedance-1khz", "response",
    "preamp-1khz-2v",
)  # fmt: skip
"""Test points that stand again for a headphone socket beside other outputs."""
OWN_AT_TUNERS = ("idle", "channels-1khz")
"""Test points that stand again for a tuner, of a receiver and alone."""
BROADCAST = ("tuner table", "fm tone", "interference table")
"""Analysis kinds of what a tuner alone is given."""
OTHER_PATHS = (
    (PHONO, OWN_AT_INPUTS), (COIL, OWN_AT_INPUTS), (HEADPHONES, OWN_AT_HEADPHONES),
    (TUNER, OWN_AT_TUNERS),
)  # fmt: skip
"""Sorts of path that are no line input to the usual output, each with its test points."""
ALONE = (
    *(f"tone-1khz-{power}-8ohm" for power in ("1w", "5w", "half", "rated")),
    *(f"limit-1khz-{load}ohm" for load in (2, 4, 8, 16)),
)
"""Test points that stand again for one output driven: the supply then feeds no other."""
NOWHERE = "no input"
"""A sort of path without test points: of a figure that presumes what the path isn't to give."""
HEADPHONE_LOADS = (32.0, 300.0)
"""Resistors that stand for headphones, ohm (common practice, no source)."""
HEADPHONE_W = 0.01
"""A power at which headphones play loud, W (common practice, no source)."""


@dataclass(frozen=True)
class TestPoint:
    """Conditions to be met. None is not asked for.

    stimulus: analysis kinds, separated by ", ".
    power_w: watts measured at the output, within `power_within` (relative half-width).
    power_share: the same as a share of the unit's rated power.
    level_v: volts rms at an output without a load resistor, within `power_within`.
    tones_hz: both frequencies of a two-tone stimulus, in Hz, rising.
    metrics: the metrics that the point is for; all of the stimulus where None.
    input_sort: the sort of path that it is for (of `INPUTS`, LINE or HEADPHONES).
    driven: "all" where every output has to be driven, "one" where this output alone.
    volume: "full" where a stated setting has to be that, "least" where it has to be the lowest.
    """

    __test__ = False  # the name is the trade's; it is no test case

    point_key: str
    title: str
    stimulus: str
    frequency_hz: float | None = None
    power_w: float | None = None
    power_share: float | None = None
    power_within: float | None = None
    load_ohm: float | None = None
    level_v: float | None = None
    tones_hz: tuple[float, float] | None = None
    metrics: tuple[str, ...] | None = None
    input_sort: str | None = None
    volume: str | None = None
    driven: Literal["all", "one"] | None = None


TONE = "tone, steps, tone trace table, distortion table, harmonics table"
FREQUENCIES = {"20hz": ("20 Hz", 20.0), "1khz": ("1 kHz", 1000.0), "20khz": ("20 kHz", 20000.0)}
LOADS = (4.0, 8.0, 16.0)
LIMIT_LOADS = (2.0, *LOADS)
"""An amplifier's limits are sought in lower loads than its usual figures."""
POWERS: dict[str, tuple[str, float | None, float | None]] = {
    "1w": ("1 W", 1.0, None),
    "5w": ("5 W", 5.0, None),
    "half": ("half rated power", None, 0.5),
    "rated": ("rated power", None, 1.0),
}


def shipped_points() -> list[TestPoint]:
    """The points that every catalogue has, in the order that they are shown."""
    return list(_shipped())


@cache
def _shipped() -> tuple[TestPoint, ...]:
    line = [replace(point, input_sort=point.input_sort or LINE) for point in _line_points()]
    known = {point.point_key: point for point in line}
    others = [
        replace(known[key], point_key=at_input(sort, key), input_sort=sort,
                title=f"{_path(sort)}: {known[key].title}")
        for sort, own in OTHER_PATHS for key in own
    ]  # fmt: skip
    alone = [_one_driven(known[key]) for key in ALONE]
    return (*line, *alone, *others, *_into_headphones())


def _one_driven(point: TestPoint) -> TestPoint:
    """The same conditions with this output alone driven."""
    return replace(point, point_key=alone(point.point_key), driven="one",
                   title=f"{point.title}, one output driven")  # fmt: skip


def alone(point_key: str) -> str:
    """The key of the point of one output driven that stands beside one of all."""
    return f"{point_key}-one-driven"


def for_headphones(point_key: str) -> bool:
    """Whether a shipped test point is one of a headphone socket, or of a load in its place."""
    point = shipped_point(point_key)
    return point.input_sort == HEADPHONES or point.load_ohm in HEADPHONE_LOADS


def is_of_a_tuner(point_key: str) -> bool:
    """Whether a test point is a shipped one of what a tuner gives."""
    point = _shipped_by_key().get(point_key)
    return point is not None and point.input_sort == TUNER


def _path(sort: str) -> str:
    return {HEADPHONES: "headphone socket", TUNER: "tuner"}.get(sort, f"{sort} input")


def _into_headphones() -> Iterator[TestPoint]:
    """Points whose load says that the output is one for headphones, at whichever socket."""
    for load in HEADPHONE_LOADS:
        ohm = in_text(load, "ohm")
        yield TestPoint(
            f"limit-1khz-{load:g}ohm", f"greatest power at 1 kHz, {ohm}", TONE, 1000.0,
            load_ohm=load, metrics=of_family("greatest power"),
        )  # fmt: skip
        yield TestPoint(
            f"tone-1khz-10mw-{load:g}ohm", f"1 kHz, {in_text(HEADPHONE_W, 'W')}, {ohm}", TONE,
            1000.0, power_w=HEADPHONE_W, power_within=0.25, load_ohm=load,
        )  # fmt: skip


def at_input(sort: str, point_key: str) -> str:
    """The key of the point of a sort of path that stands for a line input's point."""
    return f"{sort.replace(' ', '-')}-{point_key}"


def _line_points() -> list[TestPoint]:
    return [
        TestPoint("idle", "idle, input terminated", "idle", volume="full"),
        TestPoint(
            "idle-volume-down", "idle, input terminated, volume at its lowest", "idle",
            volume="least",
        ),
        *_powered(),
        *_unpowered(),
        TestPoint(
            point_key="preamp-1khz-2v",
            title="1 kHz, 2 V out, bridging load",
            stimulus=TONE,
            frequency_hz=1000.0,
            power_w=None,
            power_share=None,
            power_within=0.25,
            level_v=2.0,
            driven="all",
        ),
        TestPoint("response", "response, 20 Hz to 20 kHz", "sweep, response table"),
        TestPoint(
            "two-tone-19k-20k", "19 kHz and 20 kHz, 1:1", "two tones", tones_hz=(19000.0, 20000.0),
            driven="all",
        ),
        TestPoint(
            "two-tone-60-7k", "60 Hz and 7 kHz", "two tones", tones_hz=(60.0, 7000.0),
            driven="all",
        ),
        TestPoint("square-and-sine", "square wave of 3.15 kHz with 15 kHz", "square and sine"),
        TestPoint("square-1khz", "1 kHz square wave", "square", 1000.0),
        TestPoint("square-10khz", "10 kHz square wave", "square", 10000.0),
        TestPoint("transport-tone", "tone of a test record or tape", "transport"),
        TestPoint("played-tone", "tone of a stated recorded level", "played tone"),
        TestPoint("silent-medium", "silent groove or erased tape playing", "silent medium"),
        TestPoint("played-sweep", "sweep of a test record or tape", "played sweep"),
        TestPoint(BY_HAND_POINT, "entered by hand", BY_HAND),
        TestPoint("tuner-table", "table of RF levels", "tuner table", input_sort=TUNER),
        TestPoint("fm-tone", "tone that modulates a carrier", "fm tone", input_sort=TUNER),
        TestPoint(
            "interference-table", "table beside an interferer", "interference table",
            input_sort=TUNER,
        ),
    ]  # fmt: skip


def shipped_point(key: str) -> TestPoint:
    """The shipped point of a key. Raises KeyError for any other."""
    return _shipped_by_key()[key]


@cache
def _shipped_by_key() -> dict[str, TestPoint]:
    return {point.point_key: point for point in shipped_points()}


def _powered() -> Iterator[TestPoint]:
    """Tone at each frequency, power and load. Half-width of the power window: 25 %."""
    for frequency, (frequency_title, hertz) in FREQUENCIES.items():
        for power, (power_title, watts, share) in POWERS.items():
            for load in LOADS:
                yield TestPoint(
                    point_key=f"tone-{frequency}-{power}-{load:g}ohm",
                    title=f"{frequency_title}, {power_title}, {in_text(load, 'ohm')}",
                    stimulus=TONE,
                    frequency_hz=hertz,
                    power_w=watts,
                    power_share=share,
                    power_within=0.25,
                    load_ohm=load,
                    driven="all",
                )


def _unpowered() -> Iterator[TestPoint]:
    """Quantities that are ratios or limits: the power that they were taken at is not asked for."""
    for frequency, (frequency_title, hertz) in FREQUENCIES.items():
        yield TestPoint(
            f"impedance-{frequency}",
            f"output impedance at {frequency_title}",
            f"{TONE}, sweep, response table",
            hertz,
            metrics=of_family("output impedance"),
        )
        yield TestPoint(
            f"channels-{frequency}", f"between channels at {frequency_title}", TONE, hertz,
            metrics=of_family("between channels"), volume="full",
        )  # fmt: skip
        for load in LIMIT_LOADS:
            yield TestPoint(
                f"limit-{frequency}-{load:g}ohm",
                f"greatest power at {frequency_title}, {in_text(load, 'ohm')}",
                TONE,
                hertz,
                load_ohm=load,
                metrics=of_family("greatest power"),
                driven="all",
            )
    yield TestPoint(
        "overload-1khz", "greatest input at 1 kHz", TONE, 1000.0,
        metrics=of_family("greatest input"),
    )  # fmt: skip
    yield TestPoint(
        "recorded-1khz", "recorded levels of 1 kHz, from a file or disc", f"{TONE}, idle",
        metrics=of_family("recorded levels"),
    )  # fmt: skip
    yield TestPoint(
        "input-1khz", "input impedance at 1 kHz", TONE, 1000.0,
        metrics=of_family("input impedance"),
    )  # fmt: skip
    yield TestPoint(
        "gain-1khz", "gain at 1 kHz", TONE, 1000.0, metrics=of_family("gain at 1 kHz"),
        volume="full",
    )  # fmt: skip


def of_family(family: PointFamily) -> tuple[str, ...]:
    """The metrics that the test points of a family are for."""
    return declarations().having(lambda traits: traits.point_family == family)


def all_points(settings: Settings) -> list[TestPoint]:
    """Shipped points and the reviewer's own. Raises UserError where a key is used twice."""
    shipped = shipped_points()
    taken = {point.point_key for point in shipped}
    faults = []
    for position, window in enumerate(settings.test_point, start=1):
        if window.key in taken:
            where = f"{SETTINGS_NAME}, test_point {position}, key"
            faults.append(Fault(where, repr(window.key), "a key of its own", "name it otherwise"))
        taken.add(window.key)
    if faults:
        raise UserError(f"{SETTINGS_NAME} repeats a test point", faults)
    return shipped + [_own(window) for window in settings.test_point]


def _own(window: CustomTestPoint) -> TestPoint:
    return TestPoint(
        window.key, window.title, window.stimulus, window.frequency_hz, window.power_w,
        power_within=window.power_within_percent / 100 if window.power_w else None,
        load_ohm=window.load_ohm,
    )  # fmt: skip


def sort_in_columns(table: str = "") -> str:
    """The sort of path (`INPUTS`, LINE or HEADPHONES) that the names of input, tap and output
    give, as SQL. table: whose columns they are, with its point."""
    cases = " ".join(
        f"WHEN regexp_matches(lower({table}input), '{pattern}') THEN '{sort}'"
        for sort, pattern in INPUTS
    )
    socket = f"lower(concat_ws(' ', {table}tap, {table}output))"
    return (
        f"CASE WHEN regexp_matches({socket}, '{HEADPHONE_SOCKET}') THEN '{HEADPHONES}' "
        f"{cases} ELSE '{LINE}' END"
    )


def sort_of_reading(table: str, metric: str, kind: str) -> str:
    """The sort of path whose test points a reading stands at, as SQL.

    A phono stage's own input, a headphone amplifier's own socket, and a metric that is about the
    curve of a phono input stand at the points of a line input; one about a flat response stands
    nowhere for a phono input; what a tuner gives by itself and
    what was played through an antenna input at those of a tuner. Needs the parameters of
    `sorts_by_kind`.
    """
    sort = sort_in_columns(table)
    return (
        f"CASE WHEN list_contains($of_equalised, {metric}) THEN '{LINE}' "
        f"WHEN list_contains($flat, {metric}) AND ({sort} IN ('{PHONO}', '{COIL}') "
        f"OR lower({kind}) LIKE '%phono%') THEN '{NOWHERE}' "
        f"WHEN list_contains($broadcast, {table}stimulus) THEN '{TUNER}' "
        f"WHEN {sort} = '{LINE}' AND list_contains($tuner_kinds, {kind}) THEN '{TUNER}' "
        f"WHEN {sort} = '{PHONO}' AND lower({kind}) LIKE '%phono%' THEN '{LINE}' "
        f"WHEN {sort} = '{HEADPHONES}' AND lower({kind}) LIKE '%headphone%' THEN '{LINE}' "
        f"ELSE {sort} END"
    )


def sorts_by_kind() -> dict[str, object]:
    """The parameters of `sort_of_reading`."""
    return {
        "of_equalised": [*declarations().having(lambda traits: traits.equalised)],
        "flat": [*declarations().having(lambda traits: traits.flat)],
        "tuner_kinds": tuner_kinds(), "broadcast": [*BROADCAST],
    }  # fmt: skip
