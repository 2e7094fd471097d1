"""A review of nothing but an instrument's tables, from its files to test points and limits."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from backbench.catalogue import Catalogue
from faults.small_catalogue import small_catalogue

UNIT = "tern"
HEAD = f"""\
[review]
key = "tables"
date = 2024-06-01
bench = "shed"
mains_hz = 50

[[unit]]
key = "{UNIT}"
maker = "Marrowgate"
model = "Tern"
kind = "power amplifier"
technology = "tube"
state = "serviced"

[conditions]
load_ohm = 8
input = "only"
"""
HZ = np.geomspace(10, 40_000, 73)
OUTPUT_OHM = 0.4 + 2j * np.pi * HZ * 10e-6


def entry(file: str, stimulus: str, load: str = "8") -> str:
    return (
        f'\n[[capture]]\nfile = "{file}"\nof = {{ unit = "{UNIT}", output = "out" }}\n'
        f"conditions = {{ load_ohm = {load} }}\nstimulus = {{ {stimulus} }}\n"
    )


def columns(**named: str) -> str:
    inner = ", ".join(f'{key} = {{ name = "{key}", unit = "{unit}" }}'
                      for key, unit in named.items())  # fmt: skip
    return f"columns = {{ {inner} }}"


def write(path: Path, **table: np.ndarray) -> None:
    rows = zip(*table.values(), strict=True)
    text = "\n".join(",".join(f"{value:.7g}" for value in row) for row in rows)
    path.write_text(f"{','.join(table)}\n{text}\n")


def write_responses(folder: Path) -> None:
    for name, ohm in (("open", math.inf), ("loaded", 8.0)):
        volts = 2.0 / (1 + 1j * HZ / 90_000) / (1 + OUTPUT_OHM / ohm)
        write(folder / f"{name}.csv", frequency=HZ, level=np.abs(volts),
              phase=np.degrees(np.angle(volts)))  # fmt: skip


TAP_OHM, TAP_V = 0.5, 2.0
PROBED = (
    'table = "trace", tone_hz = 1000, generator_vrms = 0.1, columns = { '
    'time = { name = "time", unit = "ms" }, '
    'voltage = { name = "volts", unit = "mV", factor = 10, percent_of_reading = 0.1 } }'
)


def write_traces(folder: Path) -> None:
    """2 ms in 1,000 points of 8 bits behind a divider of 10, open and loaded."""
    time = np.arange(1000) * 2e-3
    for name, share in (("idle", 1.0), ("driven", 8 / (8 + TAP_OHM))):
        peak = 100 * math.sqrt(2) * TAP_V * share
        noise = np.random.default_rng(len(name)).normal(0, 0.004 * peak, len(time))
        volts = peak * np.sin(2 * np.pi * time + 0.3) + noise
        step = 2 * peak / 0.8 / 2**8
        write(folder / f"{name}-trace.csv", time=time, volts=np.round(volts / step) * step)


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    home = tmp_path_factory.mktemp("reduced")
    folder = home / "review"
    folder.mkdir()
    power = np.array([0.1, 1.0, 4.0, 8.0, 10.0, 12.0])
    write(folder / "power.csv", power=power, thd=0.02 + 0.08 * (power / 5) ** 4)
    write(folder / "band.csv", frequency=HZ, thd_n=0.1 + HZ / 1e5)
    write(folder / "harmonics.csv", order=np.arange(1.0, 6.0),
          level=np.array([6.3246, 6e-3, 3e-3, 1e-3, 5e-4]))  # fmt: skip
    write_responses(folder)
    response = 'table = "response", ' + columns(frequency="Hz", level="V", phase="deg")
    (folder / "review.toml").write_text(
        HEAD
        + entry("power.csv", f'table = "distortion", tone_hz = 1000, '
                f'{columns(power="W", thd="%")}')
        + entry("band.csv", f'table = "distortion", {columns(frequency="Hz", thd_n="%")}')
        + entry("harmonics.csv", 'table = "harmonics", tone_hz = 1000, '
                + columns(order="1", level="V"))
        + entry("open.csv", response + ", generator_vrms = 0.1", '"open"')
        + entry("loaded.csv", response + ", generator_vrms = 0.1")
    )  # fmt: skip
    write(folder / "both.csv", f=HZ, a=np.full(73, 0.123456), b=0.123456 - HZ / 1e5)
    with (folder / "review.toml").open("a") as manifest:
        for column, output in (("a", "left"), ("b", "right")):
            named = f'frequency = {{ name = "f", unit = "Hz" }}, level = {{ name = "{column}"'
            stated = f'table = "response", columns = {{ {named}, unit = "dB" }} }}'
            manifest.write(entry("both.csv", stated).replace('"out"', f'"{output}"'))
    write_traces(folder)
    with (folder / "review.toml").open("a") as manifest:
        for name, load in (("idle", '"open"'), ("driven", "8")):
            manifest.write(entry(f"{name}-trace.csv", PROBED, load).replace('"out"', '"tap"'))
    made = small_catalogue(home / "catalogue")
    made.ingest([folder], history=False, processes=1)
    return made


def found(catalogue: Catalogue, metric: str) -> pl.DataFrame:
    frame = catalogue.readings()
    return frame.filter((pl.col("metric") == metric) & pl.col("value").is_not_null())


def test_every_capture_is_whole(catalogue: Catalogue) -> None:
    outcomes = catalogue.frame("SELECT outcome, refused FROM capture_outcome")
    assert outcomes["outcome"].to_list() == ["whole"] * 9


def test_the_power_at_a_limit_lies_between_the_rows(catalogue: Catalogue) -> None:
    powers = found(catalogue, "power_at_limit")
    row = powers.filter(pl.col("limit_percent") == 1.0)
    true = 5 * ((1 - 0.02) / 0.08) ** 0.25
    assert row["value"][0] == pytest.approx(true, abs=2 * row["uncertainty"][0])
    assert row["uncertainty"][0] < 0.1 * true


def test_distortion_meets_its_test_points(catalogue: Catalogue) -> None:
    """Between the rows it is interpolated; the table of harmonics gives the same power itself."""
    at_5_w = catalogue.frame(
        "SELECT stimulus, metric, value, uncertainty FROM reading "
        "JOIN reading_point USING (reading_key) WHERE point_key = 'tone-1khz-5w-8ohm' "
        "AND metric IN ('thd', 'harmonic') AND value IS NOT NULL"
    )
    thd = at_5_w.filter(metric="thd")
    assert set(thd["stimulus"]) == {"distortion table", "harmonics table"}
    between = thd.filter(stimulus="distortion table")
    assert between["value"][0] == pytest.approx(0.1, abs=2.5 * between["uncertainty"][0])
    listed = thd.filter(stimulus="harmonics table")["value"][0]
    assert listed == pytest.approx(100 * math.sqrt(36 + 9 + 1 + 0.25) * 1e-3 / 6.3246, rel=1e-6)
    assert at_5_w.filter(metric="harmonic").height == 4


def test_a_table_over_power_is_drawn(catalogue: Catalogue) -> None:
    assert catalogue.query("distortion-over-power", unit=UNIT).height == 6


def test_complex_source_impedance_of_two_loads(catalogue: Catalogue) -> None:
    rows = found(catalogue, "source_impedance").filter(output="out").sort("frequency_hz")
    assert rows["frequency_hz"].to_list() == [20.0, 1000.0, 20_000.0]
    true = np.interp(rows["frequency_hz"], HZ, np.abs(OUTPUT_OHM))
    off = np.abs(rows["value"].to_numpy() - true)
    assert (off <= 2 * rows["uncertainty"].to_numpy() + 1e-4).all()
    assert rows["bound"].null_count() == 3
    (angle,) = found(catalogue, "source_impedance_phase").filter(frequency_hz=20_000)["value"]
    at = 0.4 + 2j * math.pi * 20_000 * 10e-6
    assert angle == pytest.approx(math.degrees(math.atan2(at.imag, at.real)), abs=0.5)


def test_left_and_right_of_one_file(catalogue: Catalogue) -> None:
    rows = found(catalogue, "response_at").filter(frequency_hz=20_000)
    by_output = dict(zip(rows["output"], rows["value"], strict=True))
    assert by_output["left"] == pytest.approx(0.0, abs=1e-9)
    assert by_output["right"] == pytest.approx(-0.19, abs=1e-3)
    (apart,) = found(catalogue, "response_difference")["value"]
    assert apart == pytest.approx(0.19, abs=0.001)


def test_voltages_of_traces_at_two_loads(catalogue: Catalogue) -> None:
    """Level, gain and source impedance against the circuit's closed form."""
    levels = found(catalogue, "level").filter(output="tap").sort("value")
    for value, u, share in zip(levels["value"], levels["uncertainty"], (8 / 8.5, 1.0), strict=True):
        assert abs(value - TAP_V * share) < 2 * u < 0.01
    gains = found(catalogue, "gain").filter(output="tap")
    assert gains["value"].max() == pytest.approx(20 * math.log10(TAP_V / 0.1), abs=0.02)
    (row,) = found(catalogue, "source_impedance").filter(output="tap").rows(named=True)
    assert abs(row["value"] - TAP_OHM) < 2 * row["uncertainty"] < 0.1
