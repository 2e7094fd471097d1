"""What a reader should know of a unit first: three to five plain sentences.

What stands out among its peers, good and bad, and how sure that is; what its published figures
come to; what work changed; what is missing, and which capture would give it. Where there are too
few peers, a plain scale stands in for them. Of distortion there is none: published thresholds of
what is heard reach from 0.6 % to 10 % (J. Acoust. Soc. Jpn. (E) 11, 1990, p. 29, of loudspeakers;
abstract read).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from backbench.comparison.heard_terms import JUST_HEARD_DB
from backbench.comparison.listening_terms import pressure_level
from backbench.comparison.quantity_names import titled
from backbench.comparison.standings import LIMIT_PERCENT
from backbench.comparison.work_effects import effects_summary
from backbench.documents.kinds import Battery, UnitKind, kind_of_unit
from backbench.metrics.declared_traits import declarations
from backbench.metrics.traits import BY_HAND
from backbench.quantities.counts import counted
from backbench.quantities.sentences import first_few, listed, lowered, sentence
from backbench.quantities.writing import in_text, quantity
from backbench.statistics.ranks import FEWEST_OTHERS, interval_text
from backbench.test_points.points import for_headphones

if TYPE_CHECKING:
    from backbench.comparison.differences import Difference
    from backbench.comparison.peers import Peers
    from backbench.comparison.standings import Standing
    from backbench.comparison.verdicts import Verdict

BEST, WORST = 0.25, 0.75
"""A unit stands out where its whole rank interval lies in the best or the worst quarter."""
MOST_NAMED = 3
SURE = "95 % sure"

LOUDSPEAKER_DB = 90.0
"""Sensitivity of the loudspeaker that a plain scale of noise is stated for, at 2.83 V and 1 m."""
THRESHOLD_DB = 2.4
"""Threshold of hearing at 1 kHz in a free field, dB SPL (ISO 389-7; from memory)."""
QUIET_ROOM_DB = 20.0
"""Noise of a very quiet room, dB SPL(A) (common practice, no source)."""


@dataclass(frozen=True)
class Facts:
    """What the sentences are made from. work: differences by work, where there was any; outputs:
    how many outputs the unit was measured at."""

    kind: str
    lines: Sequence[Standing]
    peers: Peers
    verdicts: Sequence[Verdict]
    work: Sequence[Difference]
    outputs: int


def summary(c: Facts) -> tuple[str, ...]:
    """The sentences of a comparison."""
    sentences = [
        *(_standing_out(c.lines, c.peers) if ranked_lines(c.lines) else _alone(c)),
        _published(c.verdicts),
        effects_summary(c.work) if c.work else "",
        _missing(c),
    ]
    return tuple(filter(None, sentences))


def figure(line: Standing) -> str:
    """A figure as a sentence has it: name, value to three digits, the output that it is of."""
    mark = {"upper": "at most ", "lower": "at least "}.get(line.bound or "", "")
    entered = ", from an old record" if line.status == "entered" else ""
    shown = quantity(line.value, line.unit)
    name = lowered(titled(line.metric, line.title, line.limit_percent))
    return f"{name} {mark}{shown} ({_side(line)}{entered})"


def _side(line: Standing) -> str:
    """The output that a figure is of; a balance is of one output in relation to the other."""
    other = {"left": "right", "right": "left"}.get(line.output)
    between = declarations().traits(line.metric).listening == "level difference"
    return f"{line.output} re {other}" if between and other else line.output


def ranked_lines(lines: Iterable[Standing]) -> list[Standing]:
    """The figures with a rank that sentences speak of: of limits, the usual one alone."""
    return [n for n in lines if n.rank and n.limit_percent in (None, LIMIT_PERCENT)]


def standing_out(lines: Iterable[Standing]) -> tuple[list[Standing], list[Standing]]:
    """The figures certainly in the best and in the worst quarter, each the clearest first."""
    ranked = ranked_lines(lines)
    best = _once([n for n in ranked if n.rank and n.rank[1] <= n.n * BEST])
    worst = _once([n for n in ranked if n.rank and n.rank[0] > n.n * WORST])
    best.sort(key=lambda n: -(n.percentile or 0.0))
    worst.sort(key=lambda n: n.percentile or 0.0)
    return best, worst


def _standing_out(lines: Sequence[Standing], peers: Peers) -> Iterator[str]:
    """What is certainly in the best, and what in the worst quarter, with the places."""
    best, worst = standing_out(lines)
    most = max(n.n for n in ranked_lines(lines))
    among = f"among {counted(most, 'unit')} ({peers.description})"
    if not best and not worst:
        yield sentence(f"{among} none of its figures is certainly in the best or the worst quarter")
        return
    yield sentence(f"{among} {_named('for the better', 'best', best)}")
    yield sentence(_named("for the worse", "worst", worst))


def _once(lines: list[Standing]) -> list[Standing]:
    """Without what another figure says again, such as output impedance beside damping factor."""
    again = declarations().having(lambda traits: traits.on_request)
    return [line for line in lines if line.metric not in again] or lines


def _named(words: str, quarter: str, lines: Sequence[Standing]) -> str:
    if not lines:
        return f"nothing of it is certainly in the {quarter} quarter"
    named = "; ".join(_placed(n) for n in lines[:MOST_NAMED])
    more = len(lines) - MOST_NAMED
    return f"it stands out {words} ({SURE}): {named}" + (f"; and {more} more" if more > 0 else "")


def _placed(line: Standing) -> str:
    assert line.rank is not None
    return f"{figure(line)}, {interval_text(*line.rank, line.n)}, {line.better} is better"


def _alone(c: Facts) -> Iterator[str]:
    """Where there are too few peers: that, and the figures on a plain scale."""
    count = len(c.peers.keys) - 1
    others = counted(count, "peer") if count else "no peer"
    few = f"it has no rank; that takes at least {FEWEST_OTHERS}"
    most = max((line.n - 1 for line in c.lines), default=0)
    alike = f", of which no more than {most} have the same figure," if count > most else ""
    yield f"With {others} ({c.peers.description}){alike} {few}."
    heard = kind_of_unit(c.kind).drives_loudspeakers
    plain = list(filter(None, (_plain(line, heard) for line in c.lines)))
    if plain:
        yield sentence("; ".join(plain[:MOST_NAMED]))


def _plain(line: Standing, drives_loudspeakers: bool) -> str:
    """A figure on a scale that needs no peers; "" where there is none."""
    role = declarations().traits(line.metric).listening
    at_loudspeaker = drives_loudspeakers and not for_headphones(line.point_key)
    if role == "noise pressure" and line.value > 0 and at_loudspeaker:
        return f"{figure(line)} is {_noise_words(line.value)}"
    if role == "level difference":
        size = "less" if abs(line.value) < JUST_HEARD_DB else "more"
        return (
            f"{figure(line)} is {size} than {in_text(JUST_HEARD_DB, 'dB')}, about the smallest "
            "difference of level that is heard (Zwicker and Fastl, Psychoacoustics)"
        )
    return ""


def _noise_words(volts: float) -> str:
    level = pressure_level(volts, LOUDSPEAKER_DB)
    at = f"{in_text(round(level), 'dB SPL(A)')} at 1 m from a loudspeaker of "
    at += f"{in_text(LOUDSPEAKER_DB, 'dB')} at 2.83 V"
    if level < THRESHOLD_DB:
        return f"{at}, below the threshold of hearing (ISO 389-7)"
    if level < QUIET_ROOM_DB:
        return f"{at}, below the noise of a very quiet room ({in_text(QUIET_ROOM_DB, 'dB(A)')})"
    return f"{at}, which may be heard in a quiet room"


def _published(verdicts: Sequence[Verdict]) -> str:
    """What the specifications come to, with the figures of those that are not met."""
    if not verdicts:
        return ""
    counts = {v.outcome: sum(o.outcome == v.outcome for o in verdicts) for v in verdicts}
    verbs = {
        "meets": "meets", "fails": "fails", "inconclusive": "leaves open",
        "measured under other conditions": "was measured under other conditions than",
        "not measured": "has no reading for",
    }  # fmt: skip
    parts = [f"{verb} {counts[name]}" for name, verb in verbs.items() if name in counts]
    text = f"of {counted(len(verdicts), 'specification')} it {listed(parts)}"
    named = [_failed(v) for v in verdicts if v.outcome in ("fails", "inconclusive")]
    unsure = sum(v.again_outcome not in (None, v.outcome) for v in verdicts)
    text += f": {first_few(named, MOST_NAMED)}" if named else ""
    text += (
        f"; in another session {counted(unsure, 'of them', 'of them')} might turn out otherwise"
        if unsure else ""
    )  # fmt: skip
    return sentence(text)


def _failed(v: Verdict) -> str:
    shown = quantity(v.value, v.unit) if v.value is not None else "no value"
    side = f" ({v.output})" if v.output else ""
    at = f" at {v.promised_at}" if v.promised_at else ""
    return f"{lowered(v.title)} {shown}{side} where {v.limit_text}{at} is promised"


def _missing(c: Facts) -> str:
    """Usual quantities that the unit has no figure of, by the capture that would give them."""
    kind = kind_of_unit(c.kind)
    if kind.battery is None:
        return ""
    present = {line.metric for line in c.lines}
    by_capture: dict[str, list[str]] = {}
    for metric, points in declarations().compared().items():
        if metric in present or not _expected(metric, kind, c.outputs):
            continue
        title = lowered(declarations().metrics[metric].title)
        by_capture.setdefault(_capture(metric, points, kind.by_power), []).append(title)
    if not by_capture:
        return ""
    parts = [f"{listed(titles)} ({capture})" for capture, titles in by_capture.items()]
    return sentence(f"not at its test point yet: {'; '.join(parts[:MOST_NAMED])}" + _rest(parts))


def _rest(parts: Sequence[str]) -> str:
    more = len(parts) - MOST_NAMED
    return f"; and what {counted(more, 'further capture')} would give" if more > 0 else ""


def _expected(metric: str, kind: UnitKind, outputs: int) -> bool:
    traits = declarations().traits(metric)
    if traits.usual_stimulus == BY_HAND:
        return False
    if traits.of_medium not in (None, kind.medium) or (
        traits.flat and kind.battery == "phono stage"
    ):
        return False
    if traits.only_with is not None or kind.battery in OWN_METRICS_ONLY:
        return traits.only_with == kind.battery
    for_power = traits.loudspeaker_only or traits.point_family == "greatest power"
    if for_power and not kind.drives_loudspeakers:
        return False
    return traits.point_family != "between channels" or outputs > 1


OWN_METRICS_ONLY: tuple[Battery, ...] = ("transport", "tuner")
"""Usual captures of units that others' test points don't suit."""
CAPTURES: Mapping[str, str] = {
    "idle": "a capture at idle, input terminated",
    "sweep": "a sweep",
    "transport": "the speed tone of a test record or tape",
    "played tone": "a tone of a test record or tape",
    "played sweep": "a sweep of a test record or tape",
    "silent medium": "a silent groove or erased tape that plays",
    "tuner table": "a table of RF levels",
    "square and sine": "a square wave of 3.15 kHz with a sine of 15 kHz",
    "fm tone": "a tone that modulates a carrier",
    "interference table": "a table of an interferer's levels",
    "two tones": "two tones of 19 kHz and 20 kHz",
}


def _capture(metric: str, points: Sequence[str], by_power: bool) -> str:
    """Which capture gives a metric, in words."""
    declared = declarations().metrics[metric]
    given = declared.traits.given_by
    if given:
        return given
    stimulus = declared.usual_stimulus
    if stimulus != "tone":
        return CAPTURES.get(stimulus, f"a capture of {stimulus}")
    if declared.traits.point_family == "gain at 1 kHz":
        return "a tone of 1 kHz at a stated level of the generator"
    return "a tone of 1 kHz at 5 W into 8 Ω" if by_power else "a tone of 1 kHz at 2 V out"
