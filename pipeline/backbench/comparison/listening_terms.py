"""Figures in a listener's terms: sound pressure at the seat, prices in today's money.

Levels come from a loudspeaker's stated sensitivity alone (dB SPL at 2.83 V and 1 m, one
loudspeaker, free field): a real room adds to them. They show whether something may be heard; they
are no measurement. Levels above 85 dB(A) can harm hearing.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING

from backbench.errors import Refusal
from backbench.quantities.writing import in_text, ordinary, price

if TYPE_CHECKING:
    from backbench.documents.settings import Listening, Loudspeaker, Settings

SENSITIVITY_V = math.sqrt(8.0)
"""2.83 V: one watt into 8 ohm."""
HARMFUL_DBA = 85.0


@dataclass(frozen=True)
class NoiseLevel:
    """Residual noise through one loudspeaker. Levels in dB SPL(A).

    over_room: level at the seat less the room's own noise; None without a listening place.
    """

    loudspeaker: str
    at_1_m: float
    at_seat: float | None
    over_room: float | None

    @property
    def audibility(self) -> str:
        """What a listener may expect, in words."""
        if self.over_room is None:
            return "no listening place in the settings"
        return audibility(self.over_room)


@dataclass(frozen=True)
class Loudest:
    """Greatest level of one loudspeaker from a power, dB SPL; harmful where it may hurt."""

    loudspeaker: str
    at_1_m: float
    at_seat: float | None
    harmful: bool


def audibility(over_room_db: float) -> str:
    """What may be expected of noise so far above the room's own, in words."""
    if over_room_db >= 0:
        return "heard in a quiet room"
    return "near the room's own noise" if over_room_db > -10 else "below the room's own noise"


def pressure_level(volts: float, sensitivity_db: float) -> float:
    """dB SPL at 1 m for an rms voltage above 0 and a sensitivity at 2.83 V, 1 m.

    Raises Refusal for a voltage that is not positive.
    """
    if not volts > 0:
        raise Refusal("no voltage, no level")
    return sensitivity_db + 20 * math.log10(volts / SENSITIVITY_V)


def at_distance(level_at_1_m: float, metres: float) -> float:
    """The level at a distance in free field: 6.02 dB less for each doubling."""
    return level_at_1_m - 20 * math.log10(metres)


def noise_levels(noise_a_v: float, settings: Settings) -> list[NoiseLevel]:
    """A-weighted output noise (V rms) through each loudspeaker of the settings."""
    return [
        _noise_level(noise_a_v, speaker, settings.listening) for speaker in settings.loudspeaker
    ]


def _noise_level(volts: float, speaker: Loudspeaker, listening: Listening | None) -> NoiseLevel:
    near = pressure_level(volts, speaker.sensitivity_db)
    if listening is None:
        return NoiseLevel(speaker.name, near, None, None)
    seat = at_distance(near, listening.seat_m)
    return NoiseLevel(speaker.name, near, seat, seat - listening.room_noise_dba)


def loudest(power_w: float, load_ohm: float, settings: Settings) -> list[Loudest]:
    """Greatest level from a power into a load, one channel, through each loudspeaker.

    The voltage that the power has across the load is taken to drive the loudspeaker.
    """
    levels = []
    for speaker in settings.loudspeaker:
        near = pressure_level(math.sqrt(power_w * load_ohm), speaker.sensitivity_db)
        place = settings.listening
        seat = at_distance(near, place.seat_m) if place else None
        harmful = (near if seat is None else seat) > HARMFUL_DBA
        levels.append(Loudest(speaker.name, near, seat, harmful))
    return levels


@cache
def price_index() -> dict[int, float]:
    """CPI-U by year: US city average, all items, annual average, not seasonally adjusted.

    US Bureau of Labor Statistics, series CUUR0000SA0; only years with twelve months.
    """
    text = resources.files("backbench.comparison").joinpath("cpi_u_annual.csv").read_text("utf-8")
    rows = csv.DictReader(text.splitlines())
    return {
        int(row["year"]): float(row["annual_average_m13"])
        for row in rows
        if row["months_present"] == "12"
    }


def latest_year() -> int:
    """The last year that the index covers whole."""
    return max(price_index())


def price_factor(year: int, to_year: int | None = None) -> float:
    """What a dollar of one year is in dollars of another (the latest known by default).

    Raises Refusal for years that the index doesn't cover.
    """
    index = price_index()
    to_year = to_year or latest_year()
    missing = [y for y in (year, to_year) if y not in index]
    if missing:
        raise Refusal(f"no price index for {missing[0]}; known: {min(index)} to {max(index)}")
    return index[to_year] / index[year]


def price_today(
    amount: float, currency: str, year: int, to_year: int | None = None
) -> tuple[float, int]:
    """A list price in money of another year, and that year. US dollars only.

    Raises Refusal for other currencies and years without an index.
    """
    if currency != "USD":
        raise Refusal(f"no price index for {currency}; only USD")
    return amount * price_factor(year, to_year), to_year or latest_year()


def price_per_watt(price: float, powers_w: Sequence[float]) -> float:
    """Price over the sum of the channels' powers, each above 0. Raises Refusal otherwise."""
    if not powers_w or not all(power > 0 for power in powers_w):
        raise Refusal("no power of a channel")
    return price / sum(powers_w)


def noise_sentences(noise_a_v: float, is_bound: bool, settings: Settings) -> list[str]:
    """A sentence a loudspeaker: residual noise as a level at 1 m and at the seat."""
    most = "at most " if is_bound else ""
    sentences = []
    for level in noise_levels(noise_a_v, settings):
        near = in_text(round(level.at_1_m), "dB SPL(A)")
        text = f"noise through {level.loudspeaker}: {most}{near} at 1 m"
        if level.at_seat is not None:
            text += f", {in_text(round(level.at_seat), 'dB')} at the seat: {level.audibility}"
            if settings.listening is not None:
                text += f" ({in_text(settings.listening.room_noise_dba, 'dB(A)', 6)})"
        sentences.append(text)
    return sentences


def loudest_sentences(power_w: float, load_ohm: float, limit: str, settings: Settings) -> list[str]:
    """A sentence a loudspeaker: greatest level from one channel at a distortion limit."""
    sentences = []
    for level in loudest(power_w, load_ohm, settings):
        text = f"greatest level at {limit} through {level.loudspeaker}: "
        text += f"{in_text(round(level.at_1_m), 'dB SPL')} at 1 m"
        if level.at_seat is not None:
            text += f", {in_text(round(level.at_seat), 'dB')} at the seat"
        sentences.append(text + (" (loud enough to harm hearing)" if level.harmful else ""))
    return sentences


def price_sentence(amount: float, currency: str, year: int, powers_w: Sequence[float]) -> str:
    """The list price then and now, and per watt now; or why there is no such price."""
    listed = f"listed at {ordinary(price(amount, currency))} in {year}"
    try:
        now, to_year = price_today(amount, currency, year)
    except Refusal as refusal:
        return f"{listed} ({refusal})"
    text = (
        f"{listed}: {in_text(round(now), currency, 9)} in money of {to_year} (US consumer prices)"
    )
    if powers_w:
        text += f", {in_text(price_per_watt(now, powers_w), currency)} a watt"
    return text
