"""Figures of sources and line stages in a listener's terms, each with where the scale is from.

A pitch, the place that a sound seems to come from, noise at the seat, the field of a broadcast, and
what a standard once asked of high fidelity. They show what a figure comes to; no listening test
of the unit stands behind them.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING

from backbench.comparison.listening_terms import audibility
from backbench.comparison.quantity_names import titled
from backbench.comparison.standings import Standing
from backbench.documents.kinds import UnitKind
from backbench.metrics.declared_traits import declarations
from backbench.metrics.least_asked import LeastAsked
from backbench.quantities.sentences import lowered
from backbench.quantities.writing import in_text
from backbench.storage.database import Database

if TYPE_CHECKING:
    from backbench.documents.settings import Listening

HALF_ANGLE_DEG = 30.0
"""Of loudspeakers to either side, as seen from the seat (Rec. ITU-R BS.775; from memory)."""
TANGENTS = "law of tangents, loudspeakers at 30° to each side; second-hand"
LEAST_ANGLE_DEG = 1.0
"""Smallest angle that is told apart in front (Mills 1958; from memory)."""
NOTICED_CENTS = 10.0
"""0.6 % of a sine above 1 kHz (an encyclopedia's table; second-hand)."""
JUST_HEARD_DB = 1.0
"""Smallest difference of level that is heard, about (Zwicker and Fastl, Psychoacoustics; from
memory)."""
NO_FLAT_RESPONSE_DB = 6.0
"""Beyond this a response is meant to fall: of a filter, or of an equalisation."""
WEIGHTING_ADDS_DB = 1.3
"""Most that A weighting adds to any noise (IEC 61672-1: its greatest value, at 2.5 kHz)."""
STEREO_FIELD_DB, MONO_FIELD_DB = 54.0, 48.0
"""Least fields that planning allows for in the country, dB re 1 µV/m, 10 m above the ground
(Rec. ITU-R BS.412; the stereophonic one second-hand, the monophonic one from memory)."""
FIELD_HZ = 98e6
DIPOLE_GAIN = 1.64
FREE_SPACE_OHM = 120 * math.pi
SPEED_OF_LIGHT = 299_792_458.0


def image_angle(difference_db: float) -> float:
    """Degrees off the middle that a sound seems to come from, for a difference of level.

    tan φ / tan φ₀ = (g₁ - g₂) / (g₁ + g₂), φ₀ the loudspeakers' own angle; of the same sign as the
    difference.
    """
    share = math.tanh(difference_db * math.log(10) / 40)
    return math.degrees(math.atan(share * math.tan(math.radians(HALF_ANGLE_DEG))))


def cents(error_percent: float) -> float:
    """Hundredths of an equal-tempered semitone, for an error of speed above -100 %."""
    return 1200 * math.log2(1 + error_percent / 100)


def dipole_dbf(field_db: float, hz: float = FIELD_HZ) -> float:
    """Power that a matched half-wave dipole takes from a field (dB re 1 µV/m), dB re 1 fW."""
    field = 1e-6 * 10 ** (field_db / 20)
    aperture = DIPOLE_GAIN * (SPEED_OF_LIGHT / hz) ** 2 / (4 * math.pi)
    return 10 * math.log10(field**2 / FREE_SPACE_OHM * aperture / 1e-15)


def heard_sentences(
    store: Database, kind: UnitKind, line: Standing, place: Listening | None
) -> Iterator[str]:
    """What one figure comes to at the seat, and what was once asked of it; nothing without both."""
    traits = declarations().traits(line.metric)
    term = traits.listening or ""
    if term in _SAYERS:
        yield from _SAYERS[term](line)
    if term in _NOISES and place is not None and place.music_db is not None:
        yield _noise(line, place.music_db, place.room_noise_dba, _NOISES[term])
    for asked in traits.asked:
        if asked.of == kind.medium and _refers_to(store, line, asked):
            yield _held_against(line, asked)


def _name(line: Standing) -> str:
    return lowered(titled(line.metric, line.title, line.limit_percent))


def _most(line: Standing) -> str:
    return {"upper": "at most ", "lower": "at least "}.get(line.bound or "", "")


def _degrees(angle: float) -> str:
    return f"{in_text(round(angle, 1))}°"


def _middle(line: Standing) -> Iterator[str]:
    angle = image_angle(line.value)
    other = {"left": "right", "right": "left"}.get(line.output, "")
    side = line.output if angle > 0 else other
    size = "less" if abs(angle) < LEAST_ANGLE_DEG else "more"
    yield (
        f"{_name(line)}: a sound in the middle seems to come from {_degrees(abs(angle))} towards "
        f"the {side or 'other side'} ({TANGENTS}), {size} than the {_degrees(LEAST_ANGLE_DEG)} "
        "that are about told apart in front (Mills 1958; from memory)"
    )


def _side(line: Standing) -> Iterator[str]:
    angle = image_angle(line.value)
    place = f"{_most(line)}{_degrees(angle)} off the middle, not {_degrees(HALF_ANGLE_DEG)}"
    if HALF_ANGLE_DEG - angle < LEAST_ANGLE_DEG:
        place = f"its loudspeaker, within {_degrees(LEAST_ANGLE_DEG)}"
    yield f"{_name(line)}: a sound of one channel alone seems to come from {place} ({TANGENTS})"


def _pitch(line: Standing) -> Iterator[str]:
    off = cents(line.value)
    way = "sharp" if off > 0 else "flat"
    size = "less than the" if abs(off) < NOTICED_CENTS else "more than the"
    yield (
        f"{_name(line)}: music plays {in_text(abs(off), '', 2)} cents {way} (100 cents are a "
        f"semitone), {size} {in_text(NOTICED_CENTS)} cents from which two tones one after the "
        "other are told apart (0.6 % above 1 kHz; second-hand)"
    )


def _level(line: Standing) -> Iterator[str]:
    if abs(line.value) > NO_FLAT_RESPONSE_DB:
        return
    size = "less than" if abs(line.value) < JUST_HEARD_DB else "more than"
    if line.bound == "upper" and abs(line.value) >= JUST_HEARD_DB:
        size = "which may be more or less than"
    yield (
        f"{_name(line)}: {_most(line)}{in_text(abs(line.value), 'dB')}, {size} "
        f"{in_text(JUST_HEARD_DB, 'dB')}, about the smallest difference of level that is heard "
        "(Zwicker and Fastl, Psychoacoustics; from memory)"
    )


def _in_field(field_db: float, sound: str, known: str) -> Callable[[Standing], Iterator[str]]:
    def say(line: Standing) -> Iterator[str]:
        spare = dipole_dbf(field_db) - line.value
        less = "less" if spare > 0 else "more"
        yield (
            f"{_name(line)}: {in_text(abs(spare), 'dB', 2)} {less} than a half-wave dipole takes "
            f"from {in_text(field_db, 'dB')} re 1 µV/m, the least field that is planned for in the "
            f"country in {sound} (Rec. ITU-R BS.412; {known})"
        )

    return say


def _noise(line: Standing, music_db: float, room_dba: float, added_db: float) -> str:
    level = music_db - abs(line.value) + added_db
    most = "at most " if added_db or line.bound else ""
    return (
        f"{_name(line)}: with music whose reference level is {in_text(music_db, 'dB SPL')} at the "
        f"seat, noise of {most}{in_text(round(level), 'dB SPL(A)')} there: "
        f"{audibility(level - room_dba)} ({in_text(room_dba, 'dB(A)', 6)})"
    )


def _refers_to(store: Database, line: Standing, asked: LeastAsked) -> bool:
    """Whether the reading is of the frequency and recorded level that the limit is stated for."""
    if asked.at_hz is None and not asked.recorded:
        return True
    found = store.rows(
        "SELECT frequency_hz, detail FROM reading WHERE reading_key = $key",
        {"key": line.reading_key},
    )
    if not found:
        return False
    hz, detail = found[0]
    there: Mapping[str, str] = json.loads(detail)
    at_hz = asked.at_hz is None or (hz is not None and abs(hz / asked.at_hz - 1) < 0.02)
    return at_hz and (not asked.recorded or there.get("recorded") == asked.recorded)


def _held_against(line: Standing, asked: LeastAsked) -> str:
    shown = f"{_most(line)}{in_text(line.value, line.unit)}"
    return (
        f"{_name(line)}: {shown}, {_verdict(line, asked)} what {asked.source} asks of high "
        f"fidelity: {_asks(asked, line.unit)}"
    )


def _verdict(line: Standing, asked: LeastAsked) -> str:
    """Within, outside, or neither where the uncertainty or a bound leaves it open."""
    wide = 2 * (line.uncertainty or 0.0)
    over = -math.inf if asked.highest is None else line.value - asked.highest
    under = -math.inf if asked.lowest is None else asked.lowest - line.value
    open_bound = (line.bound == "upper" and over > 0) or (line.bound == "lower" and under > 0)
    if open_bound or abs(over) <= wide or abs(under) <= wide:
        return "which leaves open whether it is within"
    return "outside" if max(over, under) > 0 else "within"


def _asks(asked: LeastAsked, unit: str) -> str:
    if asked.lowest is None or asked.highest is None:
        limit = asked.highest if asked.lowest is None else asked.lowest
        words = "at most" if asked.lowest is None else "at least"
        return f"{words} {in_text(limit or 0.0, unit)}"
    return f"{in_text(asked.lowest, unit)} to {in_text(asked.highest, unit)}"


_STEREO = _in_field(STEREO_FIELD_DB, "stereo", "second-hand")
_MONO = _in_field(MONO_FIELD_DB, "mono", "from memory")
_SAYERS: Mapping[str, Callable[[Standing], Iterator[str]]] = {
    "level difference": _middle,
    "place of one channel": _side,
    "pitch": _pitch,
    "flatness": _level,
    "field in stereo": _STEREO,
    "field in mono": _MONO,
}
_NOISES: Mapping[str, float] = {
    "noise below reference": 0.0,
    "unweighted noise below reference": WEIGHTING_ADDS_DB,
}
