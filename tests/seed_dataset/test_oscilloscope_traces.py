"""Traces of the scenario against the model that they were made by."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import step

from backbench.seed_dataset.faults import behaviours
from backbench.seed_dataset.scenario import scenario
from backbench.seed_dataset.square import RISE_TIME_S
from backbench.seed_dataset.trace import HZ, PROBE_RISE_TIME_S, trace_csv
from squares import trace_material
from tones import figures


@pytest.mark.parametrize("key", ["2019-09-halyard-20", "2018-04-drovergate-a1"])
def test_a_trace_has_the_edges_of_the_models_treble_corner(key: str) -> None:
    one = behaviours(scenario().review(key))[0]
    text = trace_csv(key, "trace-10k-left.csv", one, loaded=True)
    time, volts = np.loadtxt(text.splitlines()[1:], delimiter=",", unpack=True)
    stated = {"rise_time_s": RISE_TIME_S, "probe_rise_time_s": PROBE_RISE_TIME_S}
    result = figures(trace_material(time, volts, HZ, **stated))["rise_time"]
    w, q = 2 * np.pi * one.roll_off.high_hz, one.roll_off.high_q
    t, wave = step(([w * w], [1, w / q, w * w]), T=np.linspace(0, 20 / w, 20_001))
    rise = t[np.argmax(wave >= 0.9)] - t[np.argmax(wave >= 0.1)]
    assert result.bound is None
    assert abs(result.value - rise) < max(3 * result.uncertainty, 0.015 * rise)
