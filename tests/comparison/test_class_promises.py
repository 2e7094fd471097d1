"""A measured unit beside what makers promised of other models of its class."""

from __future__ import annotations

from typing import Any

import pytest

from backbench.comparison.class_promises import class_promises, frame_of_promises
from backbench.documents.settings import Settings
from backbench.errors import UserError
from backbench.quantities.writing import ordinary
from backbench.reports.comparison_report import show_promises
from backbench.storage.database import reading

LIBRARY = {
    "maker": "Marrowgate", "model": "Heron 60", "kind": "integrated amplifier",
    "technology": "tube",
    "published": [
        {"metric": "thd", "at": {"frequency_hz": 1000, "power_w": 5}, "at_most": "0.5 %",
         "printed_in": "leaflet"},
        {"metric": "thd", "at": {"frequency_hz": 1000, "power_w": 40}, "at_most": "1 %",
         "printed_in": "leaflet"},
    ],
}  # fmt: skip


def held(given: Any, *library: dict[str, Any]) -> list[Any]:
    settings = Settings.model_validate({"specification": [*library]})
    with reading(given.build()) as store:
        return class_promises(store, settings.specification, "a")


def measured_unit(given: Any) -> None:
    """0.3 % at 1 kHz and 5 W."""
    given.unit("a")
    given.reading("a", "thd", 0.3, 0.003)


def test_models_of_the_settings_and_of_other_reviews_are_held_against_it(given: Any) -> None:
    measured_unit(given)
    given.unit("b")
    given.published("b", "thd", "at most", 0.2, frequency_hz=1000.0, power_w=5.0)
    given.published("a", "thd", "at most", 0.1, frequency_hz=1000.0, position=2)
    promises = held(given, LIBRARY)
    assert [(p.model, p.unit_key, p.verdict.outcome) for p in promises] == [
        ("Ostrova B", "b", "fails"), ("Marrowgate Heron 60", "", "meets"),
        ("Marrowgate Heron 60", "", "measured under other conditions"),
    ]  # fmt: skip
    frame = frame_of_promises(promises)
    assert frame["limit"].to_list() == [0.2, 0.5, 1.0]
    assert frame["value"].to_list()[:2] == [0.3, 0.3]


def test_only_models_of_its_class_count(given: Any) -> None:
    measured_unit(given)
    given.unit("c", kind="tuner")
    given.published("c", "thd", "at most", 0.2)
    tuner = {**LIBRARY, "kind": "tuner"}
    assert held(given, tuner) == []
    power = {**LIBRARY, "kind": "power amplifier", "published": LIBRARY["published"][:1]}
    given2 = held(given, power)
    assert [p.verdict.outcome for p in given2] == ["meets"]


def test_faults_of_the_library_are_reported_together(given: Any) -> None:
    measured_unit(given)
    wrong = {**LIBRARY, "kind": "amplifer", "published": [
        {"metric": "thdd", "at_most": "1 %", "printed_in": "x"},
        {"metric": "thd", "at_most": "1 V", "printed_in": "x"},
    ]}  # fmt: skip
    with pytest.raises(UserError) as raised:
        held(given, wrong)
    text = str(raised.value)
    for words in ("specification 1, kind", "published 1", "published 2"):
        assert words in text


def test_a_unit_that_is_not_there_is_named(given: Any) -> None:
    given.unit("aa")
    with pytest.raises(UserError, match="no such unit"):
        held(given)


def test_the_report_says_what_it_would_do(given: Any, capsys: pytest.CaptureFixture[str]) -> None:
    measured_unit(given)
    show_promises("a", held(given, LIBRARY))
    text = ordinary(capsys.readouterr().out)
    assert "Heron 60" in text
    assert "meet" in text
    assert "not measured at 40 W" in " ".join(text.split())
