"""The conditions of a published figure and of a reading, and how they differ, in words."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any

from backbench.metrics.declared_traits import declarations
from backbench.quantities.writing import MOST_DIGITS, quantity
from backbench.test_points.interpolate import EXACT

WITHIN = {"frequency_hz": 0.01, "power_w": EXACT, "load_ohm": 0.05, "limit_percent": 0.001}
UNITS = {"frequency_hz": "Hz", "power_w": "W", "load_ohm": "ohm", "limit_percent": "%"}
SUPPLY_WITHIN = 0.02
"""Relative difference of a mains voltage that is still the promised one (common practice, no
source)."""
WHOLE_BAND = (20.0, 20000.0)


def unlike_promised(figure: Mapping[str, Any], row: Mapping[str, Any]) -> Iterator[str]:
    """How a reading's conditions differ from those promised, in words."""
    for name, within in WITHIN.items():
        wanted, measured_value = figure[name], row[name]
        if wanted is None or name == "power_w":
            continue
        if measured_value is None or abs(measured_value / wanted - 1) > within:
            words = name.rsplit("_", 1)[0]
            yield f"{words} {_condition(name, measured_value)}, {_condition(name, wanted)} promised"
    yield from _unlike_in_words(figure, row)
    if declarations().traits(row["metric"]).whole_band and figure["band_low_hz"] is None:
        yield f"no band is stated with the published figure, measured over {_band(*WHOLE_BAND)}"
    if figure["band_low_hz"] is not None:
        band = (figure["band_low_hz"], figure["band_high_hz"])
        if not declarations().traits(row["metric"]).whole_band or band != WHOLE_BAND:
            yield f"promised over {_band(*band)}"


def _unlike_in_words(figure: Mapping[str, Any], row: Mapping[str, Any]) -> Iterator[str]:
    """Differences in weighting, outputs driven, supply and tone controls."""
    weighting, promised = json.loads(row["detail"]).get("weighting"), figure.get("weighting")
    if weighting is not None and promised is None:
        yield f"no weighting is stated with the published figure, measured: {weighting}"
    elif weighting != promised and weighting is not None:
        yield f"weighting {weighting}, {promised} promised"
    if figure.get("driven") == "all" and row["driven"]:
        yield f"only {row['driven']} driven, all outputs promised"
    if figure.get("driven") == "one" and not row["driven"]:
        yield "all outputs driven, one promised"
    supply, wanted = row.get("supply_vrms"), figure.get("supply_vrms")
    if wanted is not None and (supply is None or abs(supply / wanted - 1) > SUPPLY_WITHIN):
        yield f"supply {_volts(supply)}, {_volts(wanted)} promised"
    if row.get("shaped"):
        yield "tone controls not flat"


def _volts(value: float | None) -> str:
    return "not stated" if value is None else quantity(value, "V", MOST_DIGITS)


def measured_at(row: Mapping[str, Any]) -> str:
    """The conditions of a reading in words: "1 kHz, 5.02 W, 8 Ω"."""
    return ", ".join(_condition(name, row[name]) for name in WITHIN if row[name] is not None)


def _condition(name: str, value: float | None) -> str:
    return "not stated" if value is None else quantity(value, UNITS[name], MOST_DIGITS)


def _band(low: float, high: float) -> str:
    return f"{quantity(low, 'Hz')} to {quantity(high, 'Hz')}"


def promised_at(figure: Mapping[str, Any]) -> str:
    parts = [_condition(name, figure[name]) for name in WITHIN if figure[name] is not None]
    if figure["band_low_hz"] is not None:
        parts.append(_band(figure["band_low_hz"], figure["band_high_hz"]))
    if figure.get("weighting"):
        parts.append(f"weighting {figure['weighting']}")
    if figure.get("driven"):
        parts.append("all outputs driven" if figure["driven"] == "all" else "one output driven")
    if figure.get("supply_vrms"):
        parts.append(f"supply {_volts(figure['supply_vrms'])}")
    return ", ".join(parts)
