"""Small tables that are to hold certain rows are written only where they hold others."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from backbench.storage.database import writing
from backbench.storage.held_rows import hold_rows
from empty_database import put_empty_database


def calibration(**more: Any) -> dict[str, Any]:
    return {
        "bench_key": "shed", "since": dt.date(2024, 1, 1), "input_range": None, "track": 1,
        "volts_peak_at_full_scale": 10.0, "uncertainty_percent": 0.2, **more,
    }  # fmt: skip


def test_rows_are_written_where_they_differ(tmp_path: Path) -> None:
    put_empty_database(tmp_path)
    one, other = calibration(), calibration(track=2)
    with writing(tmp_path) as store:
        for rows, changes in (
            ([], False), ([one], True), ([one], False), ([one, other], True),
            ([calibration(volts_peak_at_full_scale=11.0), other], True), ([other], True),
            ([], True), ([], False),
        ):  # fmt: skip
            assert hold_rows(store, "calibration", rows) is changes
            held = store.rows("SELECT track, volts_peak_at_full_scale FROM calibration")
            assert held == [(row["track"], row["volts_peak_at_full_scale"]) for row in rows]


def test_lists_are_compared_too(tmp_path: Path) -> None:
    put_empty_database(tmp_path)
    with writing(tmp_path) as store:
        columns = "point_key, title, stimulus, tones_hz, metrics"
        held = store.rows(f"SELECT {columns} FROM test_point")
        rows = [dict(zip(columns.split(", "), row, strict=True)) for row in held]
        assert not hold_rows(store, "test_point", rows)
        changed = next(row for row in rows if row["tones_hz"])
        changed["tones_hz"] = [60.0, 7001.0]
        assert hold_rows(store, "test_point", rows)
        assert not hold_rows(store, "test_point", rows)
