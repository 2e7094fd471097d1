"""A key with a unit takes a number of that unit, or a text that states one."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import BaseModel, ValidationError

from backbench.documents.manifest import Conditions
from backbench.documents.settings import CustomTestPoint, Loudspeaker
from backbench.documents.stimuli import Burst, Sweep, Tone
from backbench.documents.unit_facts import FigureConditions

TONE = {"tone_hz": 1000, "generator_vrms": 1}
BURST = {"burst_hz": 1000, "on_ms": 20, "period_ms": 500, "generator_vrms": 1}


@pytest.mark.parametrize(
    ("model", "rest", "key", "written", "number"),
    [
        (Tone, TONE, "tone_hz", "1 kHz", 1000.0),
        (Tone, TONE, "tone_hz", "0,997 kHz", 997.0),
        (Tone, TONE, "generator_vrms", "500 mV", 0.5),
        (Burst, BURST, "on_ms", "0.02 s", 20.0),
        (Burst, BURST, "period_ms", "500 ms", 500.0),
        (CustomTestPoint, {"key": "a", "title": "b", "stimulus": "tone"}, "power_w", "0.5 kW", 500),
        (Loudspeaker, {"name": "a"}, "sensitivity_db", "89 dB", 89.0),
        (FigureConditions, {}, "frequency_hz", "20 kHz", 20_000.0),
        (FigureConditions, {}, "limit_percent", "1000 ppm", 0.1),
        (Conditions, {}, "supply_vrms", "0.23 kV", 230.0),
    ],
)
def test_a_text_is_the_number_of_its_unit(
    model: type[BaseModel], rest: dict[str, Any], key: str, written: str, number: float
) -> None:
    by_text = model.model_validate({**rest, key: written})
    assert getattr(by_text, key) == pytest.approx(number, rel=1e-12)
    assert getattr(model.model_validate({**rest, key: number}), key) == number


def test_each_value_of_a_list_may_have_its_unit() -> None:
    sweep = {"sweep_hz": ["20 Hz", "20 kHz"], "sweep_s": "2 s", "generator_vrms": "unknown"}
    assert Sweep.model_validate(sweep).sweep_hz == [20.0, 20_000.0]


@pytest.mark.parametrize("written", ["1,000 Hz", "5 W", "1 k", "a tone", "-1 kHz", "2 MHz"])
def test_what_has_two_readings_or_another_unit_is_refused(written: str) -> None:
    with pytest.raises(ValidationError):
        Tone.model_validate({**TONE, "tone_hz": written})
