"""The factor of a probe above a trace is pointed out and asked, never applied."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from backbench.bench_day.probe_factor import probe_factor
from backbench.bench_day.table_entries import table_entries

OUT = [("heron-40", "left")]


@pytest.mark.parametrize(
    ("line", "factor"),
    [
        ("Probe 10x", 10),
        ("Probe: 10X", 10),
        ("# probe ratio 10:1", 10),
        ("Probe,1:100", 100),
        ("Attenuation: 10", 10),
        ('"Probe Attenuation","10.0"', 10),
        ("CH1 probe_factor = 1.0E+01", 10),
        ("Probe x10", 10),
        ("Probe ×20", 20),
        ("Probe Atten,10,CH1", 10),
        ("Probe 1x", None),
        ("Attenuation: 20 dB", None),
        ("Probe rise time,3.5e-9", None),
        ("Probe serial,1234567", None),
        ("Probes of the bench", None),
    ],
)
def test_lines_that_state_a_factor(line: str, factor: float | None) -> None:
    found = probe_factor(["A title", line], ".")
    assert (found and found.factor) == factor
    if found:
        assert found.source.startswith("line 2, ")


def trace(above: str) -> str:
    t = np.arange(2000) / 1e6
    v = np.round(0.3 * np.sin(2 * np.pi * 2000 * t), 3)
    rows = "".join(f"{x:.6f},{y}\n" for x, y in zip(t, v, strict=True))
    return f"{above}\nTime (s),CH1 (V)\n{rows}"


@pytest.mark.parametrize(("above", "ready"), [("Probe,10x", False), ("Probe,1x", True)])
def test_a_trace_with_a_probe_is_to_be_completed(tmp_path: Path, above: str, ready: bool) -> None:
    (tmp_path / "t.csv").write_text(trace(above))
    (made,), _ = table_entries(tmp_path, (), OUT)
    stimulus = made.table["stimulus"]
    assert made.ready == ready
    assert stimulus["tone_hz"] == pytest.approx(2000, rel=1e-3)  # type: ignore[index]
    column = stimulus["columns"]["voltage"]  # type: ignore[index]
    if ready:
        assert "factor" not in column
    else:
        assert column["factor"].startswith("FILL IN: 10 if the values are those at the")
        assert "line 1, 'Probe,10x'" in made.text
