"""A session with every kind of capture that readings across captures are made from.

A simulated unit with a source impedance, roll-offs, a bent transfer and a bench of its own; every
expected value is the closed form of what was put in.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import soundfile
from scipy.signal import bilinear, lfilter

import golden_readings
from backbench.catalogue import Catalogue
from backbench.signal.track import Array
from backbench.signal.uncertainty import ONE_SIDED
from simulated import contents_of
from swept import played

RATE = 48_000
SENT = played(seconds=1.5)
SENT = SENT._replace(volts=0.3 * SENT.volts)
SOURCE_OHM = 0.4
GAIN = 20.0
DRIVES = [0.05, 0.1, 0.2, 0.3, 0.4]
BEND = 0.5

SETTINGS = """
title = "Test bench"
[bench.table]
load_uncertainty_percent = 0.3
generator_uncertainty_percent = 0.3
[[bench.table.calibration]]
since = 2024-01-01
volts_peak_at_full_scale = { 1 = 40.0, 2 = 40.0 }
uncertainty_percent = 0.2
"""

MANIFEST = """
[review]
key = "whole-session"
date = 2024-06-01
bench = "table"
mains_hz = 50

[[unit]]
key = "tern-12"
maker = "Marrowgate"
model = "Tern 12"
kind = "integrated amplifier"
technology = "tube"
state = "serviced"
rated_power_w = 2

[[unit.published]]
metric = "thd"
at = { frequency_hz = 1000, power_w = 2 }
at_most = "0.25 %"
printed_in = "leaflet"

[[unit.published]]
metric = "response_spread"
at = { band_hz = [30, 15000] }
at_most = "1.5 dB"
printed_in = "leaflet"

[tracks]
1 = { unit = "tern-12", output = "left" }
2 = { unit = "tern-12", output = "right" }

[conditions]
load_ohm = 8
input = "aux"
"""

SWEEP = (
    "stimulus = { sweep_hz = [10, 22000], sweep_s = 1.5, generator_vrms = 0.7, "
    'reference_file = "played.wav" }'
)


def low_cut(volts: Array, hz: float) -> Array:
    b, a = bilinear([1, 0], [1, 2 * math.pi * hz], RATE)
    return np.asarray(lfilter(b, a, volts))


def high_cut(volts: Array, hz: float) -> Array:
    w = 2 * math.pi * hz
    b, a = bilinear([w], [1, w], RATE)
    return np.asarray(lfilter(b, a, volts))


def through_unit(volts: Array, ohm: float) -> Array:
    return low_cut(high_cut(volts, 30_000.0), 12.0) * GAIN / (1 + SOURCE_OHM / ohm)


def through_bench(volts: Array) -> Array:
    return low_cut(high_cut(volts, 40_000.0), 6.0)


def tone(level: float, seconds: float, ohm: float = 8.0, degrees: float = 0.0) -> Array:
    t = np.arange(round(seconds * RATE)) / RATE
    x = math.sqrt(2) * level * np.sin(2 * np.pi * 1000 * t + math.radians(degrees))
    return np.asarray((GAIN * x - BEND * x**3) / (1 + SOURCE_OHM / ohm))


class Folder:
    """A review folder in the making: files and their captures."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.captures: list[str] = []
        path.mkdir()

    def add(self, name: str, entry: str, *tracks: Array) -> None:
        rng = np.random.default_rng(len(self.captures))
        if tracks:
            rows = np.stack(tracks, axis=1) / 40.0
            rows = rows + 1e-7 * rng.standard_normal(rows.shape)
            soundfile.write(self.path / name, rows, RATE, subtype="FLOAT")
        self.captures.append(f'[[capture]]\nfile = "{name}"\n{entry}\n')

    def close(self) -> Path:
        soundfile.write(self.path / "played.wav", SENT.volts / 40.0, RATE, subtype="FLOAT")
        (self.path / "review.toml").write_text(MANIFEST + "\n".join(self.captures))
        return self.path


def sweeps(folder: Folder) -> None:
    unit = through_bench(through_unit(SENT.volts, 8.0))
    for name, db in (("bass max", 9.0), ("bass min", -8.0)):
        shaped = unit + (10 ** (db / 20) - 1) * high_cut(unit, 150.0)
        entry = f'{SWEEP}\nconditions = {{ controls = "{name}" }}'
        folder.add(f"sweep-{name.replace(' ', '-')}.wav", entry, shaped, shaped)
    folder.add("sweep-8.wav", SWEEP, unit, 0.98 * unit)
    lighter = through_bench(through_unit(SENT.volts, math.inf))
    folder.add("sweep-open.wav", SWEEP + '\nconditions = { load_ohm = "open" }', lighter, lighter)
    folder.add("sweep-left.wav", SWEEP + '\nconditions = { driven = "left" }', unit, 0.001 * unit)
    bench = through_bench(SENT.volts)
    folder.add(
        "loop.wav",
        f'{SWEEP}\nloop_back = true\n'
        'tracks = { 1 = { output = "left" }, 2 = { output = "right" } }',
        bench, bench,
    )  # fmt: skip


def tones(folder: Folder) -> None:
    steps = np.concatenate([np.zeros(9000), *(tone(level, 1.0) for level in DRIVES)])
    levels = ", ".join(map(str, DRIVES))
    entry = f"stimulus = {{ steps_hz = 1000, step_s = 1.0, levels_vrms = [{levels}] }}"
    folder.add("steps.wav", entry, steps, steps)
    for n, (minutes, fall_db) in enumerate([(1, 0.0), (20, 0.1), (60, 0.2)]):
        left = tone(0.1, 0.6) * 10 ** (-fall_db / 20)
        folder.add(
            f"warm-{n}.wav",
            "stimulus = { tone_hz = 1000, generator_vrms = 0.1 }\n"
            f'conditions = {{ minutes_on = {minutes}, volume = "max" }}',
            left, -tone(0.1, 0.6, degrees=2.0),
        )  # fmt: skip
    folder.add(
        "quiet.wav",
        'stimulus = { tone_hz = 1000, generator_vrms = 0.1 }\nconditions = { volume = "low" }',
        0.1 * tone(0.1, 0.6), 0.105 * tone(0.1, 0.6),
    )  # fmt: skip


def machines(folder: Folder) -> None:
    t = np.arange(24 * RATE) / RATE
    tape = 0.5 * np.sin(2 * np.pi * 3150 * 1.004 * t)
    folder.add("tape.wav", "stimulus = { transport_hz = 3150 }", tape, tape)
    rows = "\n".join(f"{dbf},{0},{-2.0 * dbf}" for dbf in range(0, 41, 4))
    (folder.path / "tuner.csv").write_text("dbf,audio,noise\n" + rows + "\n")
    folder.add(
        "tuner.csv",
        'of = { unit = "tern-12", output = "left" }\n'
        'stimulus = { table = "tuner", columns = { rf_level = { name = "dbf", unit = "dBf" }, '
        'audio_level = { name = "audio", unit = "dB" }, '
        'noise = { name = "noise", unit = "dB" } } }',
    )


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> tuple[Catalogue, Path]:
    root = tmp_path_factory.mktemp("session")
    catalogue = Catalogue.create(root / "catalogue", SETTINGS)
    folder = Folder(root / "review")
    sweeps(folder)
    tones(folder)
    machines(folder)
    outcomes, refused = catalogue.ingest([folder.close()], history=False, processes=2)
    assert not refused
    assert outcomes[0].failed == ()
    return catalogue, folder.path


def rows(catalogue: Catalogue, metric: str, **same: object) -> pl.DataFrame:
    return catalogue.readings().filter(
        pl.col("metric") == metric, *[pl.col(name) == value for name, value in same.items()]
    )


def value(catalogue: Catalogue, metric: str, **same: object) -> float:
    result = rows(catalogue, metric, **same)["value"].to_list()
    assert len(result) == 1, (metric, result)
    return float(result[0])


def response_db(hz: float) -> float:
    """The unit alone, without the bench; the bilinear transform bends the frequency axis."""
    bent = RATE / math.pi * math.tan(math.pi * hz / RATE)
    return -10 * math.log10((1 + (12.0 / bent) ** 2) * (1 + (bent / 30_000.0) ** 2))


def test_golden(session: tuple[Catalogue, Path]) -> None:
    golden_readings.agree("whole-session", session[0].readings())


def test_the_bench_is_divided_out_of_the_response(session: tuple[Catalogue, Path]) -> None:
    catalogue, _ = session
    responses = rows(catalogue, "response_at", load_kind="open", output="left")
    assert set(responses["detail"]) == {"{}"}
    for hz, db in zip(responses["frequency_hz"], responses["value"], strict=True):
        assert db == pytest.approx(response_db(hz) - response_db(1000.0), abs=0.02)
    loop = rows(catalogue, "response_at", unit_key="")
    assert set(loop["detail"]) == {'{"bench":"uncorrected"}'}


def test_impedance_over_frequency(session: tuple[Catalogue, Path]) -> None:
    catalogue, _ = session
    curve = catalogue.frame(
        "SELECT x, y, load_ohm FROM curve WHERE curve = 'regulation_resistance' AND output = 'left'"
    )
    x, y = np.array(curve["x"][0]), np.array(curve["y"][0])
    inside = (x > 20) & (x < 20_000)
    assert np.count_nonzero(inside) > 200
    assert y[inside] == pytest.approx(SOURCE_OHM, rel=0.02)
    swept = {"output": "left", "stimulus": "sweep"}
    result = rows(catalogue, "damping_factor", **swept).sort("frequency_hz")
    assert result["frequency_hz"].to_list() == [20.0, 1000.0, 20_000.0]
    # What was played is a file: the phase isn't known, and the source may be reactive. The bound is
    # above the truth by what its source's uncertainty leaves open.
    above = [value * SOURCE_OHM / 8 - 1 for value in result["value"]]
    least = rows(catalogue, "source_impedance", **swept).sort("frequency_hz")
    open_to = [
        ONE_SIDED * u / ohm for u, ohm in zip(least["uncertainty"], least["value"], strict=True)
    ]
    assert above == pytest.approx(open_to, abs=0.02)
    assert set(result["bound"]) == {"upper"}
    assert all("no phase" in reason for reason in result["reason"])


def test_steps_read_as_levels(session: tuple[Catalogue, Path]) -> None:
    catalogue, _ = session
    result = rows(catalogue, "thd", stimulus="steps", output="left").sort("generator_vrms")
    result = result.filter(pl.col("generator_vrms").is_not_null())
    assert result["generator_vrms"].to_list() == DRIVES
    for level, thd, power in zip(DRIVES, result["value"], result["power_w"], strict=True):
        x = math.sqrt(2) * level
        first = GAIN * x - 0.75 * BEND * x**3
        assert thd == pytest.approx(100 * BEND * x**3 / 4 / first, rel=0.01)
        volts = first / math.sqrt(2) / (1 + SOURCE_OHM / 8)
        assert power == pytest.approx(volts**2 / 8, rel=1e-3)
    limits = rows(catalogue, "power_at_limit", output="left")["limit_percent"].to_list()
    assert 0.25 in limits
    gains = rows(catalogue, "gain_compression", output="left", stimulus="steps")
    assert len(gains) == len(DRIVES) - 1
    assert gains["power_w"].null_count() == 0


def test_between_channels(session: tuple[Catalogue, Path]) -> None:
    catalogue, _ = session
    phases = rows(catalogue, "channel_phase", volume="max", status="measured")
    assert set(phases["output"]) == {"left"}
    assert phases["value"].to_list() == pytest.approx([178.0] * 3, abs=0.01)
    polarity = rows(catalogue, "channel_polarity", volume="max")["value"].drop_nulls()
    assert set(polarity) == {-1.0}
    assert value(catalogue, "separation_at", frequency_hz=1000.0, output="right",
                 driven="left") == pytest.approx(60.0, abs=0.01)  # fmt: skip
    assert value(catalogue, "balance_tracking") == pytest.approx(20 * math.log10(1.05), abs=0.11)
    # A bound: how the outputs go on below the sweep is common to both.
    assert rows(catalogue, "response_difference", load_kind="open")["value"][0] < 0.01


def test_controls_mask_warm_up_and_machines(session: tuple[Catalogue, Path]) -> None:
    catalogue, _ = session
    ranges = rows(catalogue, "tone_control_range", output="left").sort("frequency_hz")
    assert ranges["frequency_hz"].to_list() == [100.0, 10_000.0]

    def shelf(hz: float, db: float) -> float:
        bent = RATE / math.pi * math.tan(math.pi * hz / RATE)
        return abs(1 + (10 ** (db / 20) - 1) / complex(1, bent / 150.0))

    truth = [20 * math.log10(shelf(hz, 9.0) / shelf(hz, -8.0)) for hz in (100.0, 10_000.0)]
    assert ranges["value"].to_list() == pytest.approx(truth, abs=0.05)

    margins = rows(catalogue, "response_margin", output="left", load_kind="open")
    spread = max(response_db(hz) for hz in np.geomspace(30, 15_000, 500)) - min(
        response_db(30.0), response_db(15_000.0)
    )
    assert margins["value"].to_list() == pytest.approx([1.5 - spread], abs=0.02)

    assert value(catalogue, "gain_drift", output="left") == pytest.approx(0.2, abs=1e-3)
    assert value(catalogue, "gain_drift", output="right") == pytest.approx(0.0, abs=1e-3)
    assert value(catalogue, "gain_drift_rate", output="left") < -0.15
    assert rows(catalogue, "speed_error")["value"].to_list() == pytest.approx([0.4] * 2, abs=1e-3)
    assert value(catalogue, "quieting_sensitivity") == pytest.approx(25.0)


def test_shaped_responses_stand_for_no_test_point(session: tuple[Catalogue, Path]) -> None:
    """They come first in the manifest; the unshaped one is taken."""
    catalogue, _ = session
    at_point = catalogue.frame(
        "SELECT DISTINCT capture.file "
        "FROM reading_point JOIN reading USING (review_key, reading_key) "
        "JOIN capture USING (review_key, analysis_key) "
        "WHERE point_key = 'response' AND metric = 'response_spread'"
    )
    assert at_point["file"].to_list() == ["sweep-8.wav"]
    swept = catalogue.frame(
        "SELECT point_key, value FROM reading_point JOIN reading USING (review_key, reading_key) "
        "WHERE metric = 'damping_factor' AND output = 'left' "
        "AND point_key LIKE 'impedance%' ORDER BY 1"
    )
    assert swept["point_key"].to_list() == ["impedance-1khz", "impedance-20hz", "impedance-20khz"]


def test_again_and_from_nothing_it_is_the_same(session: tuple[Catalogue, Path]) -> None:
    catalogue, folder = session
    before = contents_of(catalogue.places.root)
    outcomes, _ = catalogue.ingest([folder], history=False, processes=1)
    assert outcomes[0].unchanged
    assert contents_of(catalogue.places.root) == before


def test_every_derived_row_leads_back_to_its_originals(session: tuple[Catalogue, Path]) -> None:
    catalogue, _ = session
    lost = catalogue.frame(
        "SELECT curve.curve FROM curve ANTI JOIN analysis_capture USING (review_key, analysis_key) "
        "UNION ALL SELECT metric FROM reading "
        "ANTI JOIN analysis_capture USING (review_key, analysis_key)"
    )
    assert lost.is_empty()
    of_sweep = catalogue.frame(
        "SELECT count(*) AS n FROM analysis_capture JOIN capture USING (review_key, analysis_key) "
        "WHERE capture.file = 'sweep-8.wav'"
    )
    assert of_sweep["n"][0] == 3  # the sweep, what was played, and the loop-back
