"""Readings of circuits run in ngspice, held against the simulator's own results.

Source of every expected value: tests/simulated_circuits/*/truth.json (ngspice `fourier`, `.ac`
and bisection), at the tolerance given there. None was made by this project.
"""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
import soundfile

from backbench.catalogue import Catalogue
from simulated import simulated_catalogue

CIRCUITS = Path(__file__).parent / "simulated_circuits"
Truth = dict[str, Any]


def truths() -> list[Truth]:
    result: list[Truth] = []
    for path in sorted(CIRCUITS.glob("*/truth.json")):
        content = json.loads(path.read_text())
        review = content["case"].replace("_", "-")
        result += [{**value, "review": review} for value in content["values"]]
    return result


def allowed(truth: Truth) -> float:
    return float(truth["tol"] * (abs(truth["value"]) if truth["tol_kind"] == "rel" else 1))


def one(catalogue: Catalogue, truth: Truth, metric: str, **same: object) -> float:
    """The one reading of a metric in the truth's capture."""
    rows = catalogue.readings().filter(
        pl.col("review_key") == truth["review"], pl.col("metric") == metric,
        *[pl.col(name) == value for name, value in same.items()],
    )  # fmt: skip
    if isinstance(truth["file"], str):
        captures = catalogue.captures().filter(pl.col("file") == truth["file"])
        rows = rows.join(captures.select("review_key", "analysis_key"),
                         on=["review_key", "analysis_key"])  # fmt: skip
    values = rows["value"].unique().to_list()
    assert len(values) == 1, f"{metric}: {values}"
    return float(values[0])


def thd_n_re_fundamental(catalogue: Catalogue, truth: Truth) -> float:
    """THD+N is declared re the total; the truth refers to the fundamental."""
    ratio = one(catalogue, truth, "thd_n") / 100
    return 100 * ratio / math.sqrt(1 - ratio**2)


def harmonic(catalogue: Catalogue, truth: Truth) -> float:
    return one(catalogue, truth, "harmonic", order_n=int(truth["id"].rsplit("h", 1)[1]))


def from_response(catalogue: Catalogue, truth: Truth) -> float:
    """The response curve at a frequency between its points, linear in the logarithm."""
    curve = catalogue.frame("SELECT x, y FROM curve WHERE curve = 'response'").row(0)
    return float(np.interp(math.log(truth["frequency_hz"]), np.log(curve[0]), curve[1]))


def impedance(catalogue: Catalogue, truth: Truth) -> float:
    """Source impedance of the 8 ohm tap. One pair of loads is chosen: that of least uncertainty."""
    return one(catalogue, {**truth, "file": []}, "source_impedance", tap="8 ohm")


def least_distortion(catalogue: Catalogue, truth: Truth) -> float:
    rows = catalogue.readings().filter(
        pl.col("review_key") == truth["review"], pl.col("metric") == "thd_wide"
    )
    return float(rows["value"].min())  # type: ignore[arg-type]


def power_at_one_percent(catalogue: Catalogue, truth: Truth) -> float:
    return one(catalogue, truth, "power_at_limit", limit_percent=1.0)


def volts_at_one_percent(catalogue: Catalogue, truth: Truth) -> float:
    return math.sqrt(8 * power_at_one_percent(catalogue, truth))


def named(metric: str, **same: object) -> Callable[[Catalogue, Truth], float]:
    return lambda catalogue, truth: one(catalogue, truth, metric, **same)


HOW: dict[str, Callable[[Catalogue, Truth], float]] = {
    "vout": named("level"),
    "power": named("output_power"),
    "gain": named("gain"),
    "polarity": named("polarity"),
    "thd": named("thd_wide"),
    "thd10": named("thd"),
    "thd20": named("thd_wide"),
    "thdn": thd_n_re_fundamental,
    "p1pct": power_at_one_percent,
    "v1pct": volts_at_one_percent,
    "thdmin": least_distortion,
    "gain1k": named("gain"),
    "f_low": named("response_low_3db"),
    "f_high": named("response_high_3db"),
    "df8": named("damping_factor", tap="8 ohm"),
    "p1pct_lower": named("least_power_at_limit", limit_percent=1.0),
}
WITHOUT = {"B.zout.open_4": "tap8_8ohm.flac", "B.zout.8_4": "tap8_open.flac"}
"""The catalogue keeps the best pair of loads; another is held by leaving a capture out."""


def how(truth: Truth) -> Callable[[Catalogue, Truth], float]:
    if truth["id"].startswith("D.mag."):
        return from_response
    if truth["id"].startswith("B.zout."):
        return impedance
    last = truth["id"].rsplit(".", 1)[1]
    return harmonic if last[0] == "h" and last[1:].isdigit() else HOW[last]


@pytest.mark.parametrize(
    "truth", [t for t in truths() if t["id"] not in WITHOUT], ids=lambda t: t["id"]
)
def test_reading_agrees_with_the_simulator(measured: Catalogue, truth: Truth) -> None:
    value = how(truth)(measured, truth)
    assert abs(value - truth["value"]) <= allowed(truth)
    for wrong in truth.get("common_wrong", ()):
        assert abs(value - wrong["value"]) > abs(value - truth["value"])


@pytest.mark.parametrize(
    "truth", [t for t in truths() if t["id"] in WITHOUT], ids=lambda t: t["id"]
)
def test_the_other_pairs_of_loads_agree_too(truth: Truth, circuits: Path, tmp_path: Path) -> None:
    manifest = circuits / "push_pull_taps" / "review.toml"
    captures = manifest.read_text().split("[[capture]]")
    kept = [part for part in captures if WITHOUT[truth["id"]] not in part]
    assert len(kept) == len(captures) - 1
    manifest.write_text("[[capture]]".join(kept))
    catalogue = simulated_catalogue(tmp_path / "catalogue")
    catalogue.ingest([manifest.parent], history=False)
    assert abs(impedance(catalogue, truth) - truth["value"]) <= allowed(truth)


def test_the_same_levels_in_one_stepped_file(circuits: Path, tmp_path: Path) -> None:
    """Twelve captures played one after another are found again and cross where ngspice tells."""
    folder = circuits / "class_b_power_steps"
    captures = tomllib.loads((folder / "review.toml").read_text())["capture"]
    parts = [soundfile.read(folder / capture["file"], dtype="float64") for capture in captures]
    rate, length = parts[0][1], len(parts[0][0])
    whole = np.concatenate([np.zeros((rate // 3, 2)), *(part for part, _ in parts)])
    soundfile.write(folder / "steps.wav", whole, rate, subtype="FLOAT")
    head = (folder / "review.toml").read_text().split("[[capture]]")[0]
    levels = ", ".join(str(capture["stimulus"]["generator_vrms"]) for capture in captures)
    (folder / "review.toml").write_text(
        f'{head}[[capture]]\nfile = "steps.wav"\nstimulus = {{ steps_hz = 1000, '
        f"step_s = {length / rate}, levels_vrms = [{levels}] }}\n"
    )
    catalogue = simulated_catalogue(tmp_path / "catalogue")
    catalogue.ingest([folder], history=False)
    for truth in truths():
        if truth["id"] in {"C.p1pct", "C.p1pct_lower"}:
            assert abs(how(truth)(catalogue, truth) - truth["value"]) <= allowed(truth)
    onset = one(catalogue, {"review": "class-b-power-steps", "file": []}, "clipping_onset")
    assert 15 < onset < 22.7  # least distortion is at 11 W, 1 % at 22.6 W


def test_every_case_is_held() -> None:
    assert {t["review"] for t in truths()} == {
        "single-ended-stage", "push-pull-taps", "class-b-power-steps", "coupled-stage-sweep"
    }  # fmt: skip
    assert len(truths()) >= 123


def test_the_upper_crossing_is_taken_where_distortion_is_crossed_twice(measured: Catalogue) -> None:
    truth = next(t for t in truths() if t["id"] == "C.p1pct")
    power = power_at_one_percent(measured, truth)
    assert power > 20 * truth["common_wrong"][0]["value"]
