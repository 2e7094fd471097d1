"""Golden values of figures that no simulated day has."""

from __future__ import annotations

from typing import Any

import polars as pl

import golden_readings
from backbench.documents.manifest import Conditions
from backbench.documents.medium_stimuli import ToneOnMedium
from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.measurement import measure
from backbench.metrics.registry import registry
from backbench.seed_dataset.machine import Machine
from backbench.signal.track import Track
from bench_readings import one, reading
from squares import RATE, recorded, second_order, square_material
from tones import figures, track


def _over_captures() -> dict[str, MeasuredValue]:
    """Figures worked out from readings of several captures."""
    bursts = [
        reading(name, value, 0.01, own, stimulus="burst", power_w=watts, analysis_key=str(n))
        for n, (watts, percent) in enumerate([(25.0, 0.1), (100.0, 0.9), (110.0, 4.0)])
        for name, value, own in (("burst_power", watts, 0.001), ("burst_distortion", percent, 0.01))
    ]
    hums = [
        reading("hum", volts, 0.02, 0.01, volume=volume, stimulus="idle", frequency_hz=None)
        for volts, volume in ((1e-4, "least"), (4e-4, "half"), (2e-4, "full"))
    ]
    noises = [
        reading("noise", volts, 0.005, 1e-3, minutes_on=at, analysis_key=str(at))
        for volts, at in ((2e-4, 0.0), (1.4e-4, 30.0), (1e-4, 60.0))
    ]
    return {
        "dynamic_headroom": one("dynamic_headroom", bursts, rated_power_w={"amp": 50.0}).figure,
        "hum_over_volume": one("hum_over_volume", hums).figure,
        "noise_drift": one("noise_drift", noises).figure,
        "noise_drift_rate": one("noise_drift_rate", noises).figure,
    }


def _of_records() -> dict[str, MeasuredValue]:
    """Ringing of a square wave; the azimuth of a tape whose speed and spacing are stated."""
    square = figures(square_material(track(recorded(second_order(2e4, 0.3)), RATE)))
    machine = Machine(rate_hz=12_000.0)
    stated = ToneOnMedium(played_tone_hz=1000.0, tape_speed_cm_s=4.76, track_spacing_mm=0.9)
    outputs = (machine.tone(1000.0, 4.0), machine.tone(1000.0, 4.0, 1.0, 1, late_s=60e-6))
    tracks = {n: Track(volts, 12_000.0, 10.0, 0.003) for n, volts in enumerate(outputs, 1)}
    played = {
        found.metric.name: found.figure
        for found in measure(CaptureData(stated, Conditions(), tracks))[0]
        if found.figure is not None
    }
    return {name: square[name] for name in ("ringing_damping", "ringing_frequency")} | {
        "azimuth_angle": played["azimuth_angle"]
    }


def _row(metric: str, figure: MeasuredValue) -> dict[str, Any]:
    return dict.fromkeys(golden_readings.PLACE) | {
        "metric": metric, "method_version": registry().metrics[metric].version,
        "unit_key": "unit", "output": "left", "value": figure.value,
        "uncertainty": figure.uncertainty, "bound": figure.bound,
    }  # fmt: skip


def test_golden() -> None:
    rows = [_row(*item) for item in (_over_captures() | _of_records()).items()]
    golden_readings.agree("figures", pl.DataFrame(rows, infer_schema_length=None))
