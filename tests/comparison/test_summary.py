"""The sentences that a comparison begins with: against the readings that they are made from."""

from __future__ import annotations

from typing import Any

import pytest

from backbench.comparison import summary
from backbench.comparison.unit_comparison import Comparison, compare_unit
from backbench.quantities.writing import ordinary
from backbench.storage.database import reading


def compared(given: Any, unit: str) -> tuple[Comparison, str]:
    with reading(given.build()) as store:
        result = compare_unit(store, unit)
    return result, ordinary(" ".join(result.sentences))


def catalogue(given: Any, units: int = 12) -> None:
    for n in range(units):
        key = f"u{n}"
        given.unit(key)
        given.reading(key, "noise_a", 1e-4 * 1.3**n, 1e-7, under="idle")
        given.reading(key, "thd", 0.1 * 1.3 ** (units - n), 1e-5)
        given.reading(key, "gain", 20.0 + n, 0.01)


def test_what_stands_out_is_named_with_place_side_and_direction(given: Any) -> None:
    catalogue(given)
    result, text = compared(given, "u0")
    assert 2 <= len(result.sentences) <= 5
    assert "stands out for the better (95 % sure): noise a 100 µV (left), 1st of 12, lower" in text
    assert "stands out for the worse (95 % sure): thd 2.33 % (left), 12th of 12, lower" in text
    assert "gain" not in text.split("Not at its test point")[0]


def test_the_middle_stands_out_in_nothing(given: Any) -> None:
    catalogue(given)
    _, text = compared(given, "u6")
    assert "none of its figures is certainly in the best or the worst quarter" in text


def test_specifications_that_fail_are_named_with_figure_and_side(given: Any) -> None:
    catalogue(given)
    given.published("u0", "thd", "at most", 0.5)
    _, text = compared(given, "u0")
    assert "Of 1 specification it fails 1: thd 2.33 % (left) where at most 0.5 is promised" in text


def test_missing_figures_are_named_with_the_capture_that_gives_them(given: Any) -> None:
    catalogue(given)
    given.reading("u0", "noise_a", 1e-4, 1e-7, under="idle", output="right")
    _, text = compared(given, "u0")
    assert "Not at its test point yet" in text
    assert "(a capture at idle, input terminated)" in text
    assert "thd" not in text.split("Not at its test point yet")[1].split(" (")[0]


def test_a_single_output_lacks_no_balance(given: Any) -> None:
    catalogue(given)
    result, text = compared(given, "u0")
    assert "hannel" not in text
    assert result.lines


@pytest.mark.parametrize(
    ("volts", "words"),
    [(1e-5, "below the threshold of hearing (ISO 389-7)"),
     (5e-4, "below the noise of a very quiet room"), (5e-3, "may be heard in a quiet room")],
)  # fmt: skip
def test_a_plain_scale_stands_in_for_peers(given: Any, volts: float, words: str) -> None:
    """10 µV through 90 dB at 2.83 V: 90 - 109 = -19 dB; 0.5 mV: 15 dB; 5 mV: 35 dB."""
    given.unit("a")
    given.reading("a", "noise_a", volts, 1e-7, under="idle")
    result, text = compared(given, "a")
    assert "it has no rank; that takes at least 5" in text
    assert words in text
    assert result.lines[0].rank is None


def test_a_preamplifier_is_given_no_loudspeaker(given: Any) -> None:
    given.unit("a", kind="preamplifier")
    given.reading("a", "noise_a", 1e-5, 1e-7, under="idle")
    _, text = compared(given, "a")
    assert "loudspeaker" not in text


@pytest.mark.parametrize(
    ("kind", "is_named"), [("integrated amplifier", False), ("phono stage", True)]
)
def test_an_overload_of_phono_is_missed_from_phono_stages_only(
    given: Any, kind: str, is_named: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(summary, "MOST_NAMED", 99)
    given.unit("a", kind=kind)
    given.reading("a", "noise_a", 1e-5, 1e-7, under="idle")
    _, text = compared(given, "a")
    assert ("up to the overload" in text.split("Not at its test point yet")[1]) is is_named


@pytest.mark.parametrize(
    ("kind", "missed", "of_another"),
    [("turntable", "rumble", "of a tape"), ("tape deck", "of a tape", "rumble")],
)
def test_a_machine_lacks_only_what_its_medium_gives(
    given: Any, kind: str, missed: str, of_another: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(summary, "MOST_NAMED", 99)
    given.unit("a", kind=kind)
    given.reading("a", "noise_a", 1e-5, 1e-7, under="idle")
    lacking = compared(given, "a")[1].split("Not at its test point yet")[1].lower()
    assert missed in lacking
    assert of_another not in lacking


def test_what_another_figure_says_again_is_not_named_beside_it(given: Any) -> None:
    for n in range(12):
        given.unit(f"u{n}")
        given.reading(f"u{n}", "damping_factor", 100.0 * 1.3**-n, 1e-3)
        given.reading(f"u{n}", "source_impedance", 0.08 * 1.3**n, 1e-6)
    _, text = compared(given, "u0")
    assert "damping factor 100 (left), 1st of 12" in text
    assert "source impedance" not in text.split("Not at its test point")[0]


def test_a_balance_is_of_one_output_re_the_other(given: Any) -> None:
    given.unit("a")
    given.reading("a", "channel_balance", -0.12, 0.01)
    _, text = compared(given, "a")
    assert "hannel balance -0.12 dB (left re right) is less than 1 dB" in text
