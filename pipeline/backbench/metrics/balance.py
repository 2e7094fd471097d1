"""One channel against the other: balance, and separation with one channel driven."""

from __future__ import annotations

import math
from collections.abc import Iterator

from backbench.metrics.declaration import MeasuredValue, derived
from backbench.metrics.session import (
    Derived,
    DerivedResult,
    Reading,
    RefusedDerivation,
    Session,
    cleanest,
    grouped,
    limited,
    relative_estimation,
    relative_uncertainty,
)
from backbench.metrics.session_spreads import LEVELS
from backbench.metrics.traits import Traits
from backbench.signal.uncertainty import DB_PER_RELATIVE

FAMILY = "Channel balance and crosstalk"

LEFT, RIGHT = "left", "right"
Pair = tuple[Reading, Reading]


@derived(
    "channel_balance",
    title="Channel balance",
    unit="dB",
    better="nearer zero",
    source="IEC 60268-3 (gain difference of channels); definition from memory",
    version=1,
    choice="20 lg(left / right) at the same drive; two units of a pair count as its channels",
    traits=Traits(
        session_spread=LEVELS,
        also_called=("balance", "channel imbalance", "imbalance", "l/r balance"),
        compared_at=("channels-1khz",),
        position=140,
        listening="level difference",
        given_by="a tone of 1 kHz with all channels driven alike",
        point_family="between channels",
        captions=("separation-against-balance",),
    ),
)
def channel_balance(session: Session) -> Iterator[DerivedResult]:
    """Level of the left output re the right one, both driven alike."""
    yield from _balances(session)


def _balances(session: Session) -> Iterator[DerivedResult]:
    for same in grouped(_driven_together(session), _place).values():
        lefts = [r for r in same if r.output == LEFT]
        rights = [r for r in same if r.output == RIGHT]
        owners = {r.unit_key for r in lefts}, {r.unit_key for r in rights}
        for left_unit, right_unit in _partners(*owners):
            pairs = [
                (a, b) for a in lefts for b in rights
                if (a.unit_key, b.unit_key) == (left_unit, right_unit) and _alike(a, b)
            ]  # fmt: skip
            against = RIGHT if left_unit == right_unit else right_unit
            together = [(a, b) for a, b in pairs if a.analysis_key == b.analysis_key]
            yield from _least_uncertain(session, together or pairs, against)


def _driven_together(session: Session) -> list[Reading]:
    return [
        r for r in session.of("level", driven=None, bound=None)
        if r.stimulus in {"tone", "steps"} and r.value and r.output in {LEFT, RIGHT}
    ]  # fmt: skip


def _place(r: Reading) -> tuple[object, ...]:
    return r.frequency_hz, r.input, r.tap, r.volume, r.controls


def _partners(lefts: set[str], rights: set[str]) -> list[tuple[str, str]]:
    """Stereo units, and the one pair of units that have the other side each."""
    both = lefts & rights
    lone_left, lone_right = sorted(lefts - both), sorted(rights - both)
    pair = [(lone_left[0], lone_right[0])] if len(lone_left) == len(lone_right) == 1 else []
    return [(unit, unit) for unit in sorted(both)] + pair


def _alike(a: Reading, b: Reading) -> bool:
    """Whether both are of one capture, or were driven by one stated level into one load."""
    if a.analysis_key and a.analysis_key == b.analysis_key:
        return True
    known = a.generator_vrms is not None
    mine = (a.generator_vrms, a.load_kind, a.load_ohm)
    return known and mine == (b.generator_vrms, b.load_kind, b.load_ohm)


def _least_uncertain(session: Session, pairs: list[Pair], against: str) -> Iterator[DerivedResult]:
    """One reading, of the pair that is known best; a refusal where every pair is limited."""
    if not pairs:
        return
    sound = [p for p in pairs if not (limited(session, p[0]) or limited(session, p[1]))]
    if not sound:
        reason = limited(session, pairs[0][0]) or limited(session, pairs[0][1]) or ""
        yield RefusedDerivation(reason, pairs[0][0], pairs[0])
        return
    figures = [_ratio(*pair) for pair in sound]
    taken = cleanest(session, [(p, f.uncertainty) for p, f in zip(sound, figures, strict=True)])
    yield Derived(figures[taken], sound[taken][0], sound[taken], against=against)


def _ratio(above: Reading, below: Reading) -> MeasuredValue:
    """20 lg of two levels. The tracks were calibrated one by one: independent."""
    value = 20 * math.log10((above.value or math.nan) / (below.value or math.nan))
    whole = math.hypot(relative_uncertainty(above), relative_uncertainty(below))
    own = math.hypot(relative_estimation(above), relative_estimation(below))
    return MeasuredValue(value, DB_PER_RELATIVE * whole, DB_PER_RELATIVE * own)


@derived(
    "separation",
    title="Channel separation (crosstalk)",
    unit="dB",
    better="higher",
    source="IEC 60268-3 (crosstalk attenuation); definition from memory",
    version=1,
    choice="20 lg(driven / undriven) at the tone's frequency, per driven output",
    traits=Traits(
        also_called=("sep", "crosstalk", "channel sep", "separation", "channel separation"),
        compared_at=("channels-1khz",),
        position=150,
        listening="place of one channel",
        given_by="a tone of 1 kHz with one channel driven",
        point_family="between channels",
        captions=("separation-against-balance",),
    ),
)
def separation(session: Session) -> Iterator[DerivedResult]:
    """Level of the driven output re what it leaves at the undriven one."""
    levels = [r for r in session.of("level", stimulus="tone") if r.driven is not None and r.value]
    for same in grouped(levels, lambda r: (r.unit_key, r.driven, *_place(r))).values():
        driven = [r for r in same if r.output == r.driven and r.bound is None]
        others = [r for r in same if r.output != r.driven and r.bound != "lower"]
        for output in dict.fromkeys(r.output for r in others):
            pairs = [(a, b) for a in driven for b in others if b.output == output and _alike(a, b)]
            yield from _number_or_bound(session, pairs, output)


def _number_or_bound(session: Session, pairs: list[Pair], against: str) -> Iterator[DerivedResult]:
    """A number before a bound; among bounds the one that reaches furthest."""
    sound = [p for p in pairs if not limited(session, p[0])]
    if pairs and not sound:
        yield RefusedDerivation(limited(session, pairs[0][0]) or "", pairs[0][0], pairs[0])
    known = [p for p in sound if p[1].bound is None]
    if known:
        yield from _least_uncertain(session, known, against)
    elif sound:
        pair = max(sound, key=lambda p: _ratio(*p).value)
        ratio = _ratio(*pair)
        figure = MeasuredValue(ratio.value, ratio.uncertainty, ratio.estimation, bound="lower")
        yield Derived(figure, pair[0], pair, against=against)


@derived(
    "balance_tracking",
    title="Channel tracking over the volume control",
    unit="dB",
    better="lower",
    source="IEC 60268-3 (gain difference of channels over a control); definition from memory",
    version=1,
    choice="greatest less least balance over the stated volume settings, two or more",
    traits=Traits(session_spread=LEVELS),
)
def balance_tracking(session: Session) -> Iterator[Derived]:
    """How far the channel balance moves between settings of the volume control."""
    balances = [b for b in _balances(session) if isinstance(b, Derived) and b.like.volume]
    groups: dict[object, list[Derived]] = {}
    for balance in balances:
        like = balance.like
        place = (like.unit_key, balance.against, like.frequency_hz, like.input, like.tap,
                 like.controls)  # fmt: skip
        groups.setdefault(place, []).append(balance)
    for same in groups.values():
        if len({balance.like.volume for balance in same}) >= 2:
            yield _tracking(same)


def _tracking(balances: list[Derived]) -> Derived:
    """Errors of scale that the settings have in common cancel."""
    top = max(balances, key=lambda b: b.figure.value)
    bottom = min(balances, key=lambda b: b.figure.value)
    own = math.hypot(top.figure.estimation, bottom.figure.estimation)
    keys = {r.calibration_key for b in (top, bottom) for r in b.made_from}
    whole = math.hypot(top.figure.uncertainty, bottom.figure.uncertainty)
    value = top.figure.value - bottom.figure.value
    figure = MeasuredValue(value, own if len(keys) == 1 else whole, own)
    sources = tuple(r for b in balances for r in b.made_from)
    return Derived(figure, top.like, sources, against=top.against)
