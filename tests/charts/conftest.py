"""Synthetic frames for every chart: invented units, deterministic numbers."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import polars as pl
import pytest

Frames = dict[str, pl.DataFrame]
TECHNOLOGIES = ("tube", "solid state", "hybrid", "switching")


def units(count: int, label: str | None = None) -> list[dict[str, Any]]:
    """Rows with unit_key, label and technology; the first unit may be labelled by the test."""
    rows = [
        {
            "unit_key": f"u{k}",
            "label": f"Quarrel M-{k + 10}",
            "technology": TECHNOLOGIES[k % 4],
        }
        for k in range(count)
    ]
    if label is not None:
        rows[0]["label"] = label
    return rows


def frames_of(count: int, label: str | None = None) -> Frames:
    """One frame for every chart, by the chart's name."""
    rng = np.random.default_rng(7)
    some = units(count, label)
    noise = [float(v) for v in 3e-4 * np.exp(rng.normal(0, 1, count))]
    valued = pl.DataFrame(
        [
            u | {"value": v, "low": v * 0.9, "high": v * 1.1, "bound": "upper" if k == 1 else None}
            for k, (u, v) in enumerate(zip(some, noise, strict=True))
        ],
        schema_overrides={"bound": pl.String},
    )
    return {
        "ranked": valued,
        "strip": valued,
        "trend": _trend(some, rng),
        "distortion-power": _distortion(some, rng),
        "response": _response(some, rng),
        "impedance": _impedance(some, rng),
        "harmonics": _harmonics(some[0]),
        "spectrum": _spectrum(some[0], rng),
        "slope": _slope(some),
        "coverage": _coverage(count, label),
        "control": _control(label),
        "profile": _profile(label),
        "square": _square(some[0]),
        "products": _products(some[0]),
        "scorecard": _scorecard(some, rng),
        "overlaid": _overlaid(some),
        "family": _settings(some[0]),
        "ladder": _ladder(some[0]),
        "distortion-map": _distortion_map(some[0]),
        "patterns": _patterns(some),
        "loads": _loads(some),
        "promises": _promises(some),
        "timeline": _timeline(some),
        "likeness": _likeness(some),
    }


def _trend(some: list[dict[str, Any]], rng: np.random.Generator) -> pl.DataFrame:
    rows = []
    for u in some:
        x = float(rng.uniform(5, 65))
        y = 0.01 * x + float(rng.normal(0, 0.1))
        rows.append(u | {"x": x, "y": y, "y_low": y - 0.05, "y_high": y + 0.05})
    return pl.DataFrame(rows)


def _distortion(some: list[dict[str, Any]], rng: np.random.Generator) -> pl.DataFrame:
    rows = []
    for u in some:
        scale = float(rng.uniform(0.01, 0.3))
        for output in ("left", "right"):
            for power in (0.1, 1.0, 5.0, 20.0):
                t = scale * power**0.4
                rows.append(
                    u
                    | {"output": output, "power_w": power, "thd_percent": t}
                    | {"thd_low": t * 0.9, "thd_high": t * 1.1}
                    | {"bound": "upper" if power < 0.5 else None}
                )
    return pl.DataFrame(rows)


def _response(some: list[dict[str, Any]], rng: np.random.Generator) -> pl.DataFrame:
    rows = []
    for u in some:
        corner = float(rng.uniform(15e3, 60e3))
        for f in (20.0, 100.0, 1000.0, 10000.0, 20000.0):
            level = float(-10 * np.log10(1 + (f / corner) ** 2))
            rows.append(
                u
                | {"output": "left", "frequency_hz": f, "level_db": level}
                | {"low_db": level - 0.1, "high_db": level + 0.1}
            )
    return pl.DataFrame(rows)


def _impedance(some: list[dict[str, Any]], rng: np.random.Generator) -> pl.DataFrame:
    rows = []
    for u in some:
        base = float(rng.uniform(0.05, 3))
        for f in (20.0, 200.0, 2000.0, 20000.0):
            rows.append(u | {"output": "left", "frequency_hz": f, "ohm": base * (1 + f / 2e4)})
    return pl.DataFrame(rows)


def _harmonics(unit: dict[str, Any]) -> pl.DataFrame:
    rows = [
        {"unit_key": unit["unit_key"], "label": unit["label"], "output": output, "power_w": power}
        | {"order_n": n, "level_db": -40.0 - 7 * n, "bound": "upper" if n > 8 else None}
        for output in ("left", "right")
        for power in (1.0, 20.0)
        for n in range(2, 11)
    ]
    return pl.DataFrame(rows)


def _spectrum(unit: dict[str, Any], rng: np.random.Generator) -> pl.DataFrame:
    base = {"unit_key": unit["unit_key"], "label": unit["label"], "output": "left"}
    trace = [
        base
        | {"frequency_hz": float(f), "level": float(rng.uniform(1e-6, 3e-6))}
        | {"kind": "spectrum"}
        for f in np.geomspace(10, 20e3, 60)
    ]
    lines = [
        base | {"frequency_hz": 50.0 * m, "level": 1e-4 / m, "kind": "mains line"}
        for m in (1, 2, 3)
    ]
    return pl.DataFrame(trace + lines)


def _slope(some: list[dict[str, Any]]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            u
            | {"metric": "residual noise", "before": 5e-4 * (k + 1), "before_u": 2e-5}
            | {"after": 2e-4 * (k + 1), "after_u": 1e-5, "unit": "V"}
            | {"beyond": 3e-4 * (k + 1) / 4.5e-5}
            for k, u in enumerate(some)
        ]
    )


def _coverage(count: int, label: str | None) -> pl.DataFrame:
    states = ("measured", "missing", "rejected", "entered")
    rows = [
        {"review_key": f"u{k}", "label": label if label and k == 0 else f"review {k}"}
        | {"family": family, "readings": (k + j) % 5, "state": states[(k + j) % 4]}
        for k in range(count)
        for j, family in enumerate(("level", "distortion", "noise", "response"))
    ]
    return pl.DataFrame(rows)


def _control(label: str | None) -> pl.DataFrame:
    rows = [
        {"bench_key": "garage", "series": label or "loop-back gain", "u": 0.01}
        | {"reviewed": dt.date(2019, 1, 5) + dt.timedelta(days=90 * k)}
        | {"value": 0.02 * (k % 3) + (1.0 if k == 9 else 0.0)}
        for k in range(14)
    ]
    return pl.DataFrame(rows)


def _profile(label: str | None) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {"metric": label or "noise", "percentile": 40.0, "low": 31.0, "high": 52.0},
            {"metric": "channel_balance", "percentile": 99.0, "low": 95.0, "high": 100.0},
        ]
    )


def _square(unit: dict[str, Any]) -> pl.DataFrame:
    base = {"unit_key": unit["unit_key"], "label": unit["label"], "output": "left"}
    trace = [
        base | {"time_s": k * 1e-5, "volts": 1.0 if k < 50 else -1.0, "kind": "trace"}
        for k in range(100)
    ]
    tilt = [base | {"time_s": t, "volts": 1.0, "kind": "tilt"} for t in (1e-4, 4.9e-4)]
    return pl.DataFrame(trace + tilt)


def _products(unit: dict[str, Any]) -> pl.DataFrame:
    base = {"unit_key": unit["unit_key"], "label": unit["label"], "output": "left"}
    lines = [(19e3, 0.0, "tone"), (20e3, 0.0, "tone"), (1e3, -60.0, "product")]
    return pl.DataFrame(
        [base | {"frequency_hz": f, "level_db": v, "kind": kind} for f, v, kind in lines]
    )


def _scorecard(some: list[dict[str, Any]], rng: np.random.Generator) -> pl.DataFrame:
    figures = [("noise", "V", "lower"), ("power", "W", "higher"), ("balance", "dB", "nearer zero")]
    rows = []
    for metric, unit, better in figures:
        for k, u in enumerate(some):
            value = float(np.exp(rng.normal(0, 1)))
            own = {"place": "3rd to 5th of 12"}
            rows.append(
                u
                | {"metric": metric, "title": f"Title of {metric}", "point": "1 kHz, 8 ohm, left"}
                | {"unit": unit, "better": better, "value": value, "low": value * 0.95}
                | {"high": value * 1.05, "bound": "upper" if k == 2 else None}
                | (own if k == 0 else dict.fromkeys(own))
                | {"verdict": "specified at most 3 dB: meets" if k == 0 else None}
            )
    return pl.DataFrame(rows, infer_schema_length=None)


def _ladder(unit: dict[str, Any]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            unit
            | {"output": output, "order_n": n, "frequency_hz": 50.0 * n, "value": level / n}
            | {"bound": "upper" if n > 4 else None, "peers_median": 40.0 / n}
            | {"peers_low": 20.0 / n, "peers_high": 90.0 / n, "peers": 7}
            for output, level in (("left", 80.0), ("right", 60.0))
            for n in range(1, 7)
        ]
    )


def _distortion_map(unit: dict[str, Any]) -> pl.DataFrame:
    """Distortion that doubles with each decade of frequency from 1 kHz, one bound, one refused."""
    rows = [
        unit
        | {"output": output, "frequency_hz": f, "power_w": p, "thd_percent": t}
        | {"thd_low": t * 0.9, "thd_high": t * 1.1, "bound": None, "reason": None}
        for output in ("left", "right")
        for p in (1.0, 10.0)
        for f, t in ((20.0, 0.3 * p), (1e3, 0.01 * p), (1e4, 0.02 * p))
    ]
    rows[0] |= {"bound": "upper", "thd_low": None}
    rows[2] |= {"thd_percent": None, "reason": "out of band"} | dict.fromkeys(
        ("thd_low", "thd_high")
    )
    return pl.DataFrame(rows, infer_schema_length=None)


def _patterns(some: list[dict[str, Any]]) -> pl.DataFrame:
    """The second harmonic of each unit 1 dB below that of the one before, the fourth a bound."""
    return pl.DataFrame(
        [
            u
            | {"order_n": n, "level_db": -50.0 - 10 * n - k * (n == 2)}
            | {"bound": "upper" if n == 4 else None}
            for k, u in enumerate(some)
            for n in (2, 3, 4)
        ]
    )


def _loads(some: list[dict[str, Any]]) -> pl.DataFrame:
    """Powers that grow by 1.8, 1.5 and 1.1 with each half of the load, the last one a bound."""
    rows = []
    for k, u in enumerate(some):
        for load, power in ((16.0, 10.0), (8.0, 18.0), (4.0, 27.0), (2.0, 30.0)):
            value = power * 1.3**k
            reach = {"low": value * 0.98, "high": value * 1.02, "bound": None}
            reach |= {"high": None, "bound": "lower"} if (k, load) == (1, 2.0) else {}
            rows.append(u | {"load_ohm": load, "tap": None, "value": value} | reach)
    schema = {"tap": pl.String, "bound": pl.String}
    return pl.DataFrame(rows, infer_schema_length=None, schema_overrides=schema)


def _promises(some: list[dict[str, Any]]) -> pl.DataFrame:
    """Margins of 3 dB less 1 dB a unit in noise, 1 dB everywhere in power; one not comparable."""
    rows = []
    for k, u in enumerate(some):
        for metric, title, margin in (
            ("noise", "Residual noise", 3.0 - k),
            ("power", "Power", 1.0),
        ):
            outcome = "inconclusive" if margin == 0 else "meets" if margin > 0 else "fails"
            reach = {"margin_low_db": margin - 0.2, "margin_high_db": margin + 0.2}
            rows.append(u | {"metric": metric, "title": title, "outcome": outcome}
                        | {"margin_db": margin, "margin_bound": None} | reach)  # fmt: skip
    names = ("margin_db", "margin_low_db", "margin_high_db")
    rows.append(rows[-1] | {"outcome": "not measured"} | dict.fromkeys(names))
    schema = {"margin_bound": pl.String}
    return pl.DataFrame(rows, infer_schema_length=None, schema_overrides=schema)


def _timeline(some: list[dict[str, Any]]) -> pl.DataFrame:
    """Made from 1950 on every second year, every third one over four years; 10 to 21 µV."""
    rows = []
    for k, u in enumerate(some):
        first, value = 1950 + 2 * k, (10.0 + k) * 1e-6
        last = first + 4 if k % 3 == 0 else first
        reach = {"low": value * 0.95, "high": value * 1.05, "unit": "V", "title": "Noise"}
        rows.append(u | {"made_first": first, "made_last": last, "year": (first + last) / 2}
                    | {"value": value, "bound": "upper" if k == 1 else None} | reach)  # fmt: skip
    return pl.DataFrame(rows, infer_schema_length=None, schema_overrides={"bound": pl.String})


def _likeness(some: list[dict[str, Any]]) -> pl.DataFrame:
    """Gain grows by 1 dB, power by half from unit to unit; the last has only a bound of power."""
    rows = []
    for k, u in enumerate(some):
        bound = "lower" if k == len(some) - 1 and k > 4 else None
        figures = (("gain", "Gain", 20.0 + k, "dB", None), ("power", "Power", 1.5**k, "W", bound))
        rows += [u | {"metric": metric, "title": title, "value": value, "unit": unit, "bound": b}
                 for metric, title, value, unit, b in figures]  # fmt: skip
    return pl.DataFrame(rows, infer_schema_length=None, schema_overrides={"bound": pl.String})


def _overlaid(some: list[dict[str, Any]]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            some[0]
            | {"series": f"20{19 + s}-05-01, state {s}", "output": output, "x": 20.0 * 2**k}
            | {"y": 1.0 + 0.1 * s * k + 0.01 * (output == "right"), "y_u": 0.01}
            for s in range(2)
            for output in ("left", "right")
            for k in range(10)
        ]
    )


def _settings(one: dict[str, Any]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            one | {"setting": setting, "output": "left", "x": 20.0 * 2**k, "y": slope * (k - 5.5)}
            for setting, slope in (("flat", 0.0), ("bass full", -1.5), ("treble full", 1.0))
            for k in range(10)
        ]
    )


@pytest.fixture(scope="session")
def frames() -> Frames:
    """Twelve units for every chart."""
    return frames_of(12)


@pytest.fixture(scope="session")
def frames_for() -> Any:
    """The maker of frames, for a number of units and a label of the first."""
    return frames_of
