"""Sound pressure and prices."""

from __future__ import annotations

import math

import pytest

from backbench.comparison import listening_terms
from backbench.documents.settings import Listening, Loudspeaker, Settings
from backbench.errors import Refusal

ROOM = Settings(
    loudspeaker=[
        Loudspeaker(name="horn", sensitivity_db=104.0),
        Loudspeaker(name="small box", sensitivity_db=84.0),
    ],
    listening=Listening(seat_m=4.0, room_noise_dba=30.0),
)


def test_one_watt_gives_the_sensitivity() -> None:
    assert listening_terms.pressure_level(math.sqrt(8), 90.0) == pytest.approx(90.0)
    assert listening_terms.loudest(1.0, 8.0, ROOM)[0].at_1_m == pytest.approx(104.0)


def test_noise_at_the_seat() -> None:
    """1 mV is 69.03 dB below 2.83 V; 4 m are 12.04 dB below 1 m."""
    horn, box = listening_terms.noise_levels(1e-3, ROOM)
    assert horn.at_1_m == pytest.approx(104 - 69.0309, abs=1e-4)
    assert horn.at_seat == pytest.approx(horn.at_1_m - 12.0412, abs=1e-4)
    assert horn.over_room == pytest.approx(-7.0721, abs=1e-4)
    assert horn.audibility == "near the room's own noise"
    assert box.audibility == "below the room's own noise"
    assert listening_terms.noise_levels(1e-2, ROOM)[0].audibility == "heard in a quiet room"


def test_without_a_listening_place_there_is_no_seat() -> None:
    result = listening_terms.noise_levels(1e-3, ROOM.model_copy(update={"listening": None}))
    assert (result[0].at_seat, result[0].over_room) == (None, None)


def test_loud_levels_are_marked_harmful() -> None:
    assert [result.harmful for result in listening_terms.loudest(10.0, 8.0, ROOM)] == [True, False]


def test_no_level_without_voltage() -> None:
    with pytest.raises(Refusal):
        listening_terms.pressure_level(0.0, 90.0)


def test_price_factor_1958_to_2024() -> None:
    """US Bureau of Labor Statistics, CPI-U annual averages: 28.9 and 313.689, ratio 10.854."""
    assert listening_terms.price_index()[1958] == 28.9
    assert listening_terms.price_factor(1958, 2024) == pytest.approx(10.854, abs=5e-4)
    assert round(listening_terms.price_factor(1958, 2024), 2) == 10.85
    assert listening_terms.price_today(100.0, "USD", 1958) == (
        pytest.approx(1085.4, abs=0.05),
        2024,
    )


def test_a_year_that_is_not_over_is_not_used() -> None:
    assert listening_terms.latest_year() == 2024
    with pytest.raises(Refusal, match="known: 1913 to 2024"):
        listening_terms.price_factor(1958, 2025)


def test_other_currencies_are_refused() -> None:
    with pytest.raises(Refusal, match="GBP"):
        listening_terms.price_today(1.0, "GBP", 1958)


def test_price_per_watt() -> None:
    assert listening_terms.price_per_watt(1000.0, [20.0, 30.0]) == 20.0
    with pytest.raises(Refusal):
        listening_terms.price_per_watt(1000.0, [])
