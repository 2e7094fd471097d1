"""What the rest of the program does with a metric's or a curve's readings.

A trait is declared beside the metric. What compares, publishes and plans reads the traits from the
registry; no metric is named there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from backbench.documents.kinds import Battery, Medium
from backbench.metrics.least_asked import LeastAsked
from backbench.metrics.session_spreads import SessionSpread

AT_IDLE = ("idle", "idle-volume-down")
AT_POWERS = (
    *(
        f"tone-1khz-{power}-{load}ohm"
        for power in ("5w", "1w", "half", "rated")
        for load in (8, 4, 16)
    ),
    "preamp-1khz-2v",
    "tone-1khz-10mw-32ohm",
    "tone-1khz-10mw-300ohm",
)
"""Test points of a 1 kHz tone in order of preference: by power and load, then by output voltage."""
AT_LIMITS = (
    "limit-1khz-8ohm", "limit-1khz-4ohm", "limit-1khz-16ohm", "limit-1khz-2ohm",
    "limit-1khz-32ohm", "limit-1khz-300ohm",
)  # fmt: skip
OVER_THE_BAND = ("response",)
OF_RF_LEVELS = ("tuner-table",)
OF_AN_FM_TONE = ("fm-tone",)
OF_AN_INTERFERER = ("interference-table",)
BY_HAND = "entered by hand"
"""In place of a stimulus, of figures that no capture gives."""
BY_HAND_POINT = "by-hand"
OF_A_SPEED_TONE = ("transport-tone",)
AT_RECORDED_LEVELS = ("recorded-1khz",)
AT_INPUT = ("input-1khz",)
OF_A_PLAYED_TONE = ("played-tone",)
OF_A_SILENT_MEDIUM = ("silent-medium",)
OF_A_PLAYED_SWEEP = ("played-sweep",)

CurveRole = Literal[
    "level over frequency", "phase over frequency", "level unsure from below the sweep"
]
ListenersTerm = Literal[
    "noise pressure",
    "greatest pressure",
    "level difference",
    "place of one channel",
    "pitch",
    "flatness",
    "field in stereo",
    "field in mono",
    "noise below reference",
    "unweighted noise below reference",
]
"""What a figure comes to at the seat: sound pressures through a loudspeaker, the place that a sound
seems to come from, pitch, a response against the least difference that is heard, the field of a
broadcast, noise where music plays at the reference level that the figure is stated re."""
PointFamily = Literal[
    "output impedance",
    "between channels",
    "greatest power",
    "gain at 1 kHz",
    "greatest input",
    "recorded levels",
    "input impedance",
]
"""Test points that hold certain metrics only, whatever power they were taken at: output impedance,
differences between channels, greatest power at a distortion limit, gain, the greatest input
of a phono stage, what a unit makes of levels that it plays itself, input impedance."""


@dataclass(frozen=True)
class Overview:
    """A column of the overview of all units: its heading, and the one test point it stands for.

    limit_percent: the distortion limit, for powers at a limit.
    """

    title: str
    point: str
    limit_percent: float | None = None


@dataclass(frozen=True)
class Traits:
    """Traits of a metric. The defaults are those of a metric that is measured, stored and exported,
    and neither compared with other units nor treated differently from others in any way.

    Comparison
    ----------
    compared_at: keys of test points at which units are compared in it, in order of preference.
    position: its place in the order in which compared metrics are shown, from 1; each its own.
    on_request: another compared metric says nearly the same, so that short tables leave it out.
    loudspeaker_only: it refers to a loudspeaker's load, so that only units that drive
        loudspeakers are compared in it.
    session_spread: standard deviation between two sessions of one unit without work in between
        where the catalogue knows none; None: the usual one of its unit.
    only_with: the usual captures of the kinds of unit that have it, where others have none.
    of_medium: what a machine must play to have it, where machines for others have none.
    equalised: it is a property of a phono input, so that readings through one are compared.
    flat: it is about a response that is to be flat, so that none through a phono input, whose
        response is a curve, is compared.
    set_by_reviewer: the reviewer set the value; it is no property of the unit, so no difference.
    whole_band: the value holds for the whole audio band, 20 Hz to 20 kHz.
    is_power: the value is itself an output power; a published power is then the limit and no
        condition.
    has_sign: the value may be negative although amounts of its unit, such as volts, are not.

    Test points
    -----------
    point_family: test points that hold this metric whatever the power; None: all of its stimulus.
    interpolated_in_power: it follows power smoothly, so that it may be interpolated between two
        steps of a power sweep.
    own_stimulus: what it says of the output under the capture's own stimulus, if anything: the
        voltage or the power that other readings of the capture were taken at.
    usual_stimulus: the kind of capture that it is usually taken from, for readings typed from old
        records; "": the first of its stimuli, a tone before others.

    Drift of the bench
    ------------------
    bench_gain: how a change of the bench's gain moves it: in proportion to volts or to watts, or
        by its decibels; None: not at all.
    bench_noise: how the bench's noise adds to it: to a voltage, or to the noise in a ratio to 1 W;
        None: not at all.
    bench_distortion: whether the bench's distortion adds to it.
    watched_at: test points at which a unit measured again and again shows the bench's drift by it.

    Publishing
    ----------
    sheet: how a review sheet shows it: at every test point, at one power only, or not at all
        because it was set by the reviewer or another row says the same.
    overview: its column in the overview of all units, if it has one.
    drawn_over_power: its values over power are drawn where units are set side by side.
    captions: saved queries whose chart in a review's stills names it in the caption.
    title_at_limit: its title where the distortion limit is part of it, with "{limit}".
    also_called: headings of old records that most likely mean it; each stands with one metric.
    entered_u, entered_u_percent: standard uncertainty of the instrument that an entered figure was
        read from, in the metric's unit and of the figure in %, where the entry states none.
    listening: what it says in a listener's terms; None: nothing.
    asked: what a published standard asked of it, at least, of machines for a medium.
    given_by: the captures that it is worked out from, in words; "": the capture of its stimulus.
    """

    compared_at: tuple[str, ...] = ()
    position: int | None = None
    on_request: bool = False
    loudspeaker_only: bool = False
    session_spread: SessionSpread | None = None
    only_with: Battery | None = None
    of_medium: Medium | None = None
    equalised: bool = False
    flat: bool = False
    set_by_reviewer: bool = False
    whole_band: bool = False
    is_power: bool = False
    has_sign: bool = False
    point_family: PointFamily | None = None
    interpolated_in_power: bool = False
    own_stimulus: Literal["voltage", "power"] | None = None
    usual_stimulus: str = ""
    bench_gain: Literal["volts", "watts", "decibels"] | None = None
    bench_noise: Literal["volts", "ratio to 1 W"] | None = None
    bench_distortion: bool = False
    watched_at: tuple[str, ...] = ()
    sheet: Literal["every point", "one power", "left out"] = "every point"
    overview: Overview | None = None
    drawn_over_power: bool = False
    captions: tuple[str, ...] = ()
    title_at_limit: str = ""
    also_called: tuple[str, ...] = ()
    entered_u: float = 0.0
    entered_u_percent: float = 0.0
    listening: ListenersTerm | None = None
    asked: tuple[LeastAsked, ...] = ()
    given_by: str = ""

    def __post_init__(self) -> None:
        if bool(self.compared_at) != (self.position is not None):
            raise ValueError("a compared metric has test points and a position, others neither")

    @property
    def instrument_known(self) -> bool:
        """Whether an entered figure has an uncertainty where its entry states none."""
        return bool(self.entered_u or self.entered_u_percent)


@dataclass(frozen=True)
class CurveTraits:
    """Traits of a curve.

    role: what derivations across captures are handed it as: the unit's level or phase over
        frequency; None: they aren't handed it.
    noise_at_idle: it is the noise that is drawn where units are set side by side.
    """

    role: CurveRole | None = None
    noise_at_idle: bool = False


PLAIN = Traits()
PLAIN_CURVE = CurveTraits()
