"""Readings as a review would hold them, for tests of metrics across captures."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import count
from typing import Any

from backbench.metrics.registry import registry
from backbench.metrics.session import Derived, Reading, RefusedDerivation, Session

_KEYS = count(1)


def reading(metric: str, value: float, u: float = 0.0, own: float = 0.0, **more: object) -> Reading:
    """A measured reading of a 1 kHz tone; u and own are relative to the value."""
    given: dict[str, object] = {
        "unit_key": "amp", "output": "left", "status": "measured", "dof": None, "bound": None,
        "stimulus": "tone", "frequency_hz": 1000.0, "load_ohm": 8.0, "load_kind": "resistor",
        "load_uncertainty": 0.005, "generator_vrms": 0.5, "calibration_key": "bench/2024-01-01",
    }  # fmt: skip
    given |= more
    if given["load_ohm"] is None:
        given["load_kind"] = "open"
    return Reading(
        key=str(next(_KEYS)), metric=metric, value=value, uncertainty=abs(value) * u,
        estimation=abs(value) * own, **given,
    )  # type: ignore[arg-type]  # fmt: skip


def derived(
    metric: str, readings: Sequence[Reading], **more: Any
) -> list[Derived | RefusedDerivation]:
    """What a metric across captures gives for a review with these readings.

    more: what else the session holds (curves, promised, rated_power_w).
    """
    derive = registry().metrics[metric].derive
    assert derive is not None
    return list(derive(Session(readings, **more)))


def one(metric: str, readings: Sequence[Reading], **more: Any) -> Derived:
    """The one figure that is given."""
    (given,) = derived(metric, readings, **more)
    assert isinstance(given, Derived), given
    return given


def refused(metric: str, readings: Sequence[Reading], **more: Any) -> RefusedDerivation:
    """The one refusal that is given."""
    (given,) = derived(metric, readings, **more)
    assert isinstance(given, RefusedDerivation), given
    return given
