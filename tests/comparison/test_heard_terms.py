"""Figures of sources in a listener's terms, beside published tables and worked examples."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from backbench.comparison import heard_terms
from backbench.comparison.unit_comparison import Comparison, compare_unit
from backbench.documents.settings import Listening, Settings
from backbench.storage.database import reading

PLACE = Settings(listening=Listening(seat_m=3.0, room_noise_dba=28.0, music_db=85.0))


def compared(given: Any, unit: str, **choices: Any) -> Comparison:
    with reading(given.build()) as store:
        return compare_unit(store, unit, **choices)


def test_the_law_of_tangents_at_its_ends_and_between() -> None:
    """Nothing off the middle for equal levels; the loudspeaker itself for one alone; 6.02 dB (two
    to one) is a third of the tangent of 30°: atan(0.19245) = 10.893°."""
    assert heard_terms.image_angle(0.0) == 0.0
    assert heard_terms.image_angle(200.0) == pytest.approx(30.0)
    assert heard_terms.image_angle(20 * math.log10(2)) == pytest.approx(10.8934, abs=1e-4)
    assert heard_terms.image_angle(-3.0) == -heard_terms.image_angle(3.0)


def test_a_semitone_is_a_hundred_cents() -> None:
    assert heard_terms.cents(100 * (2 ** (1 / 12) - 1)) == pytest.approx(100.0)
    assert heard_terms.cents(-50.0) == pytest.approx(-1200.0)


def test_a_dipole_in_a_field_against_its_effective_length() -> None:
    """The voltage of an open half-wave dipole is the field times wavelength over pi, its resistance
    73.1 ohm (tables of antennas): 54 dB re 1 µV/m at 98 MHz give 59.1 dBf into a match."""
    field, wavelength = 1e-6 * 10 ** (54 / 20), 299_792_458 / 98e6
    volts = field * wavelength / math.pi
    expected = 10 * math.log10(volts**2 / (4 * 73.1) / 1e-15)
    assert heard_terms.dipole_dbf(54.0) == pytest.approx(expected, abs=0.02)


def _said(given: Any, metric: str, value: float, u: float = 0.01, **more: Any) -> tuple[str, ...]:
    kind = more.pop("kind", "tape deck")
    given.row("metric", metric=metric, title=metric.replace("_", " "), unit=more.pop("unit"),
              better="lower", source="", choice="", definition="", method_version=1)  # fmt: skip
    given.unit("a", kind=kind)
    conditions = {"load_ohm": None, "power_w": None, **more}
    given.reading("a", metric, value, u, under="idle", **conditions)
    return compared(given, "a", settings=PLACE).listening


def test_flutter_beside_what_a_standard_asks(given: Any) -> None:
    said = _said(given, "flutter_quasi_peak", 0.26, unit="%", stimulus="transport",
                 frequency_hz=3150.0)  # fmt: skip
    assert said == (
        "flutter quasi peak: 0.26 %, outside what DIN 45500, sheet 4 (second-hand) asks of high "
        "fidelity: at most 0.2 %",
    )


def test_a_figure_near_the_limit_is_left_open(given: Any) -> None:
    said = _said(given, "flutter_quasi_peak", 0.21, unit="%", stimulus="transport",
                 frequency_hz=3150.0)  # fmt: skip
    assert "leaves open" in said[0]


@pytest.mark.parametrize(("recorded", "held"), [("10 cm/s peak at 1 kHz", 1), ("5 cm/s", 0)])
def test_rumble_is_held_against_its_own_reference_alone(
    given: Any, recorded: str, held: int
) -> None:
    said = _said(given, "rumble", -40.0, unit="dB", kind="turntable", stimulus="silent medium",
                 detail=json.dumps({"recorded": recorded}))  # fmt: skip
    assert len(said) == held


def test_noise_of_a_tape_at_the_seat(given: Any) -> None:
    """63.6 dB below music of 85 dB are 21 dB, 7 dB below a room of 28 dB."""
    said = _said(given, "medium_snr_a", 63.6, unit="dB", stimulus="silent medium")
    assert said == (
        "medium snr a: with music whose reference level is 85 dB SPL at the seat, noise of 21 dB "
        "SPL(A) there: near the room's own noise (28 dB(A))",
    )


def test_without_a_level_of_music_there_is_no_level_of_noise(given: Any) -> None:
    given.row("metric", metric="medium_snr_a", title="t", unit="dB", better="higher", source="",
              choice="", definition="", method_version=1)  # fmt: skip
    given.unit("a", kind="tape deck")
    given.reading("a", "medium_snr_a", 60.0, 0.1, under="idle", stimulus="silent medium")
    quiet = Settings(listening=Listening(seat_m=3.0, room_noise_dba=28.0))
    assert compared(given, "a", settings=quiet).listening == ()
