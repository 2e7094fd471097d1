"""A small catalogue written row by row: only what a case is about has to be said."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest

from attached_database import attached
from backbench.documents.settings import Settings
from backbench.storage.database import Database
from backbench.test_points.assign import assign_all_points, sync_points
from empty_database import put_empty_database

METRICS: dict[str, tuple[str, str]] = {
    "level": ("V", "neither"), "output_power": ("W", "neither"), "gain": ("dB", "neither"),
    "thd": ("%", "lower"), "thd_n": ("%", "lower"), "harmonic": ("dB", "lower"),
    "snr": ("dB", "higher"), "noise": ("V", "lower"), "noise_a": ("V", "lower"),
    "mains_line": ("V", "lower"), "response_spread": ("dB", "lower"),
    "response_at": ("dB", "nearer zero"), "source_impedance": ("ohm", "lower"),
    "response_low_3db": ("Hz", "lower"), "response_high_3db": ("Hz", "higher"),
    "damping_factor": ("1", "higher"), "channel_balance": ("dB", "nearer zero"),
    "separation": ("dB", "higher"), "power_at_limit": ("W", "higher"),
    "dc_offset": ("V", "nearer zero"), "input_referred_noise": ("V", "lower"),
    "snr_1w": ("dB", "higher"), "ultimate_snr": ("dB", "higher"),
    "tone_level": ("V", "neither"), "intermodulation_product": ("dB", "lower"),
    "rise_time": ("s", "lower"), "overshoot": ("%", "lower"), "tilt": ("%", "nearer zero"),
    "difference_frequency_total": ("%", "lower"), "modulation_distortion_rms": ("%", "lower"),
    "equivalent_sine_power": ("W", "neither"),
    "state_high": ("V", "neither"), "state_low": ("V", "neither"),
}  # fmt: skip
CONDITIONS: dict[str, dict[str, Any]] = {
    "idle": {"stimulus": "idle"},
    "tone": {"stimulus": "tone", "frequency_hz": 1000.0, "load_ohm": 8.0, "power_w": 5.0},
    "steps": {"stimulus": "steps", "frequency_hz": 1000.0, "load_ohm": 8.0},
    "sweep": {"stimulus": "sweep", "load_ohm": 8.0},
    "two_tones": {"stimulus": "two tones", "load_ohm": 8.0},
    "square": {"stimulus": "square", "frequency_hz": 1000.0, "load_ohm": 8.0},
}


class CatalogueMaker:
    """Rows into a real database. Everything has a default; keys make rows appear by need."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._rows: dict[str, list[dict[str, Any]]] = {}
        self._reviews: set[str] = set()
        self.between_sessions = False
        """Whether the spread between sessions is part of the case; it is none otherwise."""
        for name, (unit, better) in METRICS.items():
            self.row(
                "metric", metric=name, title=name.replace("_", " "), unit=unit, better=better,
                source="", choice="", definition="", method_version=1,
            )  # fmt: skip

    def row(self, table: str, **values: Any) -> None:
        self._rows.setdefault(table, []).append(values)

    def review(self, key: str, day: str = "2020-01-01", bench: str = "b1", **more: Any) -> None:
        self._reviews.add(key)
        self.row(
            "review", review_key=key, reviewed=dt.date.fromisoformat(day), bench_key=bench,
            mains_hz=50.0, manifest_sha256="0", receipt=1, derived_with="0", **more,
        )  # fmt: skip

    def unit(self, key: str, review: str | None = None, **more: Any) -> None:
        """A unit in a review (by default one of its own, "r-<key>")."""
        review = review or f"r-{key}"
        if review not in self._reviews:
            self.review(review)
        made = more.pop("made", 1960)
        values = {
            "maker": "Ostrova", "model": key.upper(), "kind": "integrated amplifier",
            "technology": "tube", "state": "as received", "work": [], "position": 1,
            "made_first": made, "made_last": made,
        }  # fmt: skip
        self.row("appearance", review_key=review, unit_key=key, **{**values, **more})

    def reading(
        self, unit: str, metric: str, value: float | None, u: float | None = 0.0,
        under: str = "tone", review: str | None = None, **more: Any,
    ) -> str:  # fmt: skip
        """One reading; `under` names its usual conditions. Gives the reading's key."""
        number = len(self._rows.get("reading", [])) + 1
        status = more.pop("status", "measured" if value is not None else "rejected")
        values: dict[str, Any] = {
            "reading_key": f"k{number:05}", "review_key": review or f"r-{unit}",
            "analysis_key": f"a{number:05}", "unit_key": unit, "output": "left",
            "metric": metric, "method_version": 1, "detail": "{}", "value": value,
            "uncertainty": u if value is not None else None, "estimation": 0.0, "status": status,
            "reason": None if value is not None else "no honest number",
            **CONDITIONS[under], **more,
        }  # fmt: skip
        if values.get("load_ohm") is not None:
            values.setdefault("load_kind", "resistor")
        self.row("reading", **values)
        return str(values["reading_key"])

    def curve(
        self, unit: str, name: str, x: list[float], y: list[float], review: str | None = None,
        **more: Any,
    ) -> None:  # fmt: skip
        self.row("curve", **{
            "review_key": review or f"r-{unit}", "analysis_key": "c", "unit_key": unit,
            "output": "left", "curve": name, "method_version": 1, "x_unit": "Hz", "y_unit": "dB",
            "x": x, "y": y, **more,
        })  # fmt: skip

    def capture(self, review: str, position: int, **more: Any) -> None:
        self.row("capture", **{
            "review_key": review, "position": position, "file": f"{position}.flac",
            "sha256": f"{review}-{position}", "stimulus": "tone", "stimulus_json": "{}",
            "loop_back": False, "analysis_key": f"{review}-{position}", "status": "analysed",
            **more,
        })  # fmt: skip

    def heard(self, unit: str, **more: Any) -> None:
        self.row("heard", **{"review_key": f"r-{unit}", "unit_key": unit, "tags": [], **more})

    def published(self, unit: str, metric: str, side: str, limit: float, **more: Any) -> None:
        self.row("published", **{
            "review_key": f"r-{unit}", "unit_key": unit, "position": 1, "metric": metric,
            "side": side, "limit_value": limit, "printed": f"{limit:g}",
            "printed_in": "owner's manual", **more,
        })  # fmt: skip

    def build(self, settings: Settings | None = None) -> Path:
        """Write everything, assign test points, give the catalogue's folder."""
        put_empty_database(self.folder)
        with attached(self.folder) as store, store.transaction():
            if settings is not None:
                sync_points(store, settings)
            for table, rows in self._rows.items():
                for names, group in groupby(rows, key=tuple):
                    _insert(store, table, names, list(group))
            assign_all_points(store)
            if not self.between_sessions:
                store.run("UPDATE session_spread SET spread = 0")
        return self.folder


def _insert(
    store: Database, table: str, names: Sequence[str], rows: Sequence[Mapping[str, Any]]
) -> None:
    """Rows of the same columns in one statement, which costs more than its rows."""
    row = f"({', '.join('?' * len(names))})"
    store.run(
        f"INSERT INTO {table} ({', '.join(names)}) VALUES {', '.join([row] * len(rows))}",
        [value for one in rows for value in one.values()],
    )


@pytest.fixture
def given(tmp_path: Path) -> CatalogueMaker:
    return CatalogueMaker(tmp_path)
