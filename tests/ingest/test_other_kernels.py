"""The same captures on numpy's and OpenBLAS's other kernels: the same readings."""

from __future__ import annotations

import ctypes
import json
import os
import pickle
import platform
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

import golden_readings
from backbench.ingest.analyse import Analysed, analyse
from backbench.ingest.analysis_plan import Job
from captures import STIMULI, job, volts_of

Row = dict[str, Any]
CLOSE = 1e-6
"""Of a reading's standard uncertainty; 1e-10 to 1e-11 were seen."""
ROUNDING = 1e-9
"""Relative, of uncertainties, of frequencies as found, and of bounds without an uncertainty."""
CHILD = """
import pickle, sys
from pathlib import Path
from test_other_kernels import kernels
from backbench.ingest.analyse import analyse
jobs = pickle.loads(Path(sys.argv[1]).read_bytes())
found = {name: analyse(job) for name, job in jobs.items()}
Path(sys.argv[2]).write_bytes(pickle.dumps((kernels(), found)))
"""


def kernels() -> tuple[frozenset[str], frozenset[str]]:
    """What this process computes with: numpy's dispatched features, and OpenBLAS's cores."""
    umath = np._core._multiarray_umath  # type: ignore[attr-defined]
    known = umath.__cpu_features__
    return frozenset(name for name in umath.__cpu_dispatch__ if known[name]), blas_cores()


def blas_cores() -> frozenset[str]:
    """The core that each loaded OpenBLAS chose its kernels for; empty where there is none."""
    maps = Path("/proc/self/maps")
    lines = maps.read_text().splitlines() if maps.exists() else []
    result = set()
    for path in {line.split()[-1] for line in lines if "openblas" in line}:
        library = ctypes.CDLL(path)
        for name in ("scipy_openblas_get_corename64_", "scipy_openblas_get_corename"):
            if hasattr(library, name):
                tell = getattr(library, name)
                tell.restype = ctypes.c_char_p
                result.add(tell().decode())
    return frozenset(result)


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Job]:
    """A capture of every stimulus, and one that is corrected by a loop-back."""
    folder = tmp_path_factory.mktemp("captures")
    made = {name: job(folder / f"{n}.flac", name, volts_of(name, 1.3))
            for n, name in enumerate(STIMULI)}  # fmt: skip
    bench = job(folder / "bench.flac", "tone", 0.1 * volts_of("tone", 1.3, seed=2))
    unit = volts_of("tone", 1.3, noise=1e-3, seed=3)
    return made | {"corrected": job(folder / "unit.flac", "tone", unit, bench=bench)}


@pytest.fixture(scope="module")
def here(jobs: dict[str, Job]) -> dict[str, Analysed]:
    return {name: analyse(one) for name, one in jobs.items()}


def test_golden(here: dict[str, Analysed]) -> None:
    """The name of the capture stands for the unit."""
    columns = {*golden_readings.PLACE, *golden_readings.COLUMNS}
    rows = [
        {name: row.get(name) for name in columns} | {"unit_key": capture}
        for capture, analysed in here.items() for row in analysed.readings
    ]  # fmt: skip
    golden_readings.agree("captures", pl.DataFrame(rows, infer_schema_length=None))


def variants() -> dict[str, dict[str, str]]:
    """Environments that make numpy and OpenBLAS take other kernels than here: those of a somewhat
    older processor, and the oldest."""
    features, cores = kernels()
    newest = [name for name in ("X86_V4", "AVX512_ICL", "AVX512_SPR") if name in features]
    given: dict[str, dict[str, str]] = {"older": {}, "oldest": {}}
    for name, without in (("older", newest), ("oldest", sorted(features))):
        if without:
            given[name]["NPY_DISABLE_CPU_FEATURES"] = " ".join(without)
    if cores and platform.machine() == "x86_64":
        for name, core in (("older", "Haswell"), ("oldest", "Prescott")):
            if core not in cores:
                given[name] |= {"OPENBLAS_CORETYPE": core, "OPENBLAS_NUM_THREADS": "1"}
    return {name: environment for name, environment in given.items() if environment}


@pytest.mark.parametrize("name", sorted(variants()))
def test_readings_are_the_same_on_other_kernels(
    name: str, jobs: dict[str, Job], here: dict[str, Analysed], tmp_path: Path
) -> None:
    (tmp_path / "jobs").write_bytes(pickle.dumps(jobs))
    environment = os.environ | variants()[name] | {"PYTHONPATH": os.pathsep.join(sys.path)}
    command = [sys.executable, "-c", CHILD, str(tmp_path / "jobs"), str(tmp_path / "found")]
    subprocess.run(command, check=True, env=environment, cwd=Path(__file__).parent)
    there_kernels, there = pickle.loads((tmp_path / "found").read_bytes())
    took_effect(name, there_kernels)
    worst = max(
        apart(one, other)
        for capture, analysed in here.items()
        for one, other in pairs(analysed, there[capture])
    )
    print(f"{name}: largest difference {worst[0]:.2g} u, of {worst[1]}")
    assert worst[0] <= CLOSE, worst


def took_effect(name: str, there: tuple[frozenset[str], frozenset[str]]) -> None:
    """Assert that the other process did compute with other kernels than this one."""
    features, cores = kernels()
    requested = variants()[name]
    assert there[0] == features - set(requested.get("NPY_DISABLE_CPU_FEATURES", "").split())
    assert there[0] < features or "NPY_DISABLE_CPU_FEATURES" not in requested
    if "OPENBLAS_CORETYPE" in requested:
        assert there[1]
        assert not there[1] & cores  # by another name than asked for: Prescott's are Katmai's


def pairs(one: Analysed, other: Analysed) -> list[tuple[Row, Row]]:
    assert one.reason == other.reason
    assert one.readings
    return list(zip(one.readings, other.readings, strict=True))


def apart(one: Row, other: Row) -> tuple[float, str]:
    """How far two readings lie apart in standard uncertainties; all else is the same."""
    numbers = ("value", "uncertainty", "estimation", "dof", "power_w", "frequency_hz")
    label = json.dumps([one["metric"], one["output"], one["order_n"]])
    for name in one.keys() - set(numbers):
        assert one[name] == other[name], (label, name)
    if one["value"] is None:
        assert other["value"] is None
        return 0.0, label
    for name in ("uncertainty", "frequency_hz"):
        assert (other[name] or 0.0) == pytest.approx(one[name] or 0.0, rel=ROUNDING), label
    difference = abs(one["value"] - other["value"])
    if one["uncertainty"] == 0:
        assert difference <= ROUNDING * abs(one["value"]), label
        return 0.0, label
    return difference / one["uncertainty"], label
