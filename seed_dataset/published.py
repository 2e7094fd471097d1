"""What the invented makers promised in print."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from backbench.seed_dataset.behaviour import NOMINAL_OHM, REFERENCE_HZ, Behaviour, behaviour
from backbench.seed_dataset.draws import generator_for, spread
from backbench.seed_dataset.rigs import RIGS
from backbench.seed_dataset.scenario import Unit
from backbench.seed_dataset.stimulus import number
from backbench.seed_dataset.transfer import amplitude_at, distortion

NICE = (1.0, 1.5, 2.0, 3.0, 5.0, 7.0, 10.0)
LIMITS_PERCENT = (1.0, 3.0, 10.0)
HEADROOM = 0.97
"""Share of its rated power that a new unit gives at the limit that it is rated at, at least."""
OF_OTHER_KINDS: dict[str, tuple[tuple[str, str, bool], ...]] = {
    "turntable": (("flutter_unweighted_rms", "%", True), ("rumble_weighted", "dB", True)),
    "tape deck": (("flutter_unweighted_rms", "%", True), ("medium_snr", "dB", False)),
    "tuner": (("ultimate_snr_stereo", "dB", False), ("alternate_selectivity", "dB", False)),
    "disc player": (("silence_noise", "dB", True),),
    "converter": (("silence_noise", "dB", True),),
    "phono stage": (("phono_overload_margin", "dB", False),),
    "headphone amplifier": (("source_impedance", "ohm", True),),
    "equaliser": (("input_impedance", "ohm", False),),
}
"""Metric, unit, and whether the limit is an upper one."""
PRINTED = ("owner's manual", "sales leaflet", "service manual")


@dataclass(frozen=True)
class Promise:
    """A published figure: metric, conditions as TOML keys, limit with unit."""

    metric: str
    at: dict[str, str]
    at_most: str | None
    at_least: str | None
    printed_in: str


def promises(unit: Unit) -> list[Promise]:
    """The figures of a model, which all its samples share; a worn sample may miss them."""
    rng = generator_for("printed", unit.maker, unit.model)
    printed = PRINTED[int(rng.integers(len(PRINTED)))]
    if unit.kind in RIGS:
        return [*_of_another_kind(unit, printed)]
    fresh = behaviour(typical(unit), "left", 0.0, "new")
    noise = math.hypot(fresh.hiss_v, *fresh.mains_v)
    quiet = f"{_nice(noise * spread(rng, 1.7, 0.25), up=True) * 1000:.3g} mV"
    band = {"band_hz": "[20, 20000]"}
    spread_db = _nice(_droop(fresh) * spread(rng, 1.3, 0.25) + 0.1, up=True)
    found = _power_promises(unit, fresh, printed) if unit.rated_power_w else []
    found.append(Promise("response_spread", band, f"{number(spread_db)} dB", None, printed))
    found.append(Promise("noise", {}, quiet, None, printed))
    if unit.rated_power_w:
        factor = 8.0 / abs(fresh.source_at(REFERENCE_HZ)[0]) * spread(rng, 0.85, 0.15)
        at = {"frequency_hz": "1000", "load_ohm": "8"}
        least = number(_nice(factor, up=False))
        found.append(Promise("damping_factor", at, None, least, printed))
    return found


def _of_another_kind(unit: Unit, printed: str) -> Iterator[Promise]:
    """What a new unit keeps with some margin."""
    for metric, unit_name, up in OF_OTHER_KINDS[unit.kind]:
        figures = RIGS[unit.kind](typical(unit), 0.0).figures()
        one = next(figure for figure in figures if figure.metric == metric)
        limit = _in_decibels(one.value, up) if unit_name == "dB" else _margin(one.value, up)
        at = {name: number(value) for name, value in one.at.items()}
        text = f"{number(limit)} {unit_name}"
        yield Promise(metric, at, text if up else None, None if up else text, printed)


def _in_decibels(value: float, up: bool) -> float:
    return float(math.ceil(value + 1) if up else math.floor(value - 1))


def _margin(value: float, up: bool) -> float:
    return _nice(value * (1.1 if up else 0.9), up=up)


def typical(unit: Unit) -> Unit:
    """The sample that the maker printed figures of: one for all of a model."""
    return replace(unit, key=f"{unit.maker} {unit.model}")


def _power_promises(unit: Unit, fresh: Behaviour, printed: str) -> list[Promise]:
    """Rated power at the least usual distortion that a new unit reaches it at, or all but; and
    distortion at half of it."""
    rated = unit.rated_power_w or 0.0
    limit = next((p for p in LIMITS_PERCENT if _power_at(fresh, p) >= HEADROOM * rated), 10.0)
    at_limit = {"frequency_hz": "1000", "load_ohm": "8", "limit_percent": number(limit)}
    at_half = {"frequency_hz": "1000", "power_w": number(rated / 2), "load_ohm": "8"}
    drive = math.sqrt(NOMINAL_OHM * rated) / fresh.divider(NOMINAL_OHM) / fresh.rail_v
    thd = 100 * distortion(fresh.transfer.at(1000.0), drive, fresh.ceiling(NOMINAL_OHM))[0]
    at_most = f"{number(_nice(max(thd, 0.02) * 1.25, up=True))} %"
    return [
        Promise("power_at_limit", at_limit, None, f"{number(rated)} W", printed),
        Promise("thd", at_half, at_most, None, printed),
    ]


def _power_at(fresh: Behaviour, percent: float) -> float:
    """Greatest power into 8 ohm at a distortion, W."""
    relative = amplitude_at(fresh.transfer.at(1000.0), percent / 100, fresh.ceiling(NOMINAL_OHM))
    peak = relative * fresh.rail_v * fresh.divider(NOMINAL_OHM)
    return peak**2 / (2 * NOMINAL_OHM)


def _droop(fresh: Behaviour) -> float:
    """Spread over 20 Hz-20 kHz in dB at the ends, against 1 kHz."""
    ends = np.abs(fresh.roll_off.whole(np.array([20.0, 20_000.0])))
    return float(np.max(np.abs(20 * np.log10(ends))))


def _nice(value: float, *, up: bool) -> float:
    """The next figure that a leaflet would print, above or below."""
    decade = 10.0 ** math.floor(math.log10(value))
    steps = [decade * step for step in NICE]
    chosen = min(s for s in steps if s >= value) if up else max(s for s in steps if s <= value)
    return float(f"{chosen:.3g}")
