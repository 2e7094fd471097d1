"""Source impedance and damping factor from captures with two loads."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.metrics.declaration import CaptureData
from backbench.metrics.impedance import nominal_load
from backbench.metrics.measurement import measure
from backbench.metrics.session import Derived, Reading
from backbench.signal.impedance import Loaded, Phasor, complex_impedance, regulation_resistance
from backbench.signal.uncertainty import ONE_SIDED
from bench_readings import derived, one, reading, refused
from tones import figures, reasons, sines, tone_material, track


def with_phase(load_ohm: float | None, source: complex, **more: object) -> list[Reading]:
    """Level, gain and phase re the generator of one capture behind a complex impedance."""
    name = f"{load_ohm} {more}"
    divided = 1.0 if load_ohm is None else load_ohm / (load_ohm + source)
    volts, more = 2.0 * abs(divided), {"load_ohm": load_ohm, "analysis_key": name, **more}
    gain = 20 * math.log10(volts / 0.5)
    return [
        reading("level", volts, 0.005, 1e-5, **more),
        reading("gain", gain, 0.05 / gain, 1e-4 / gain, **more),
        reading("gain_phase", 180.0 + math.degrees(cmath.phase(divided)), 3e-6, 3e-6, **more),
    ]


COIL = 0.05 + 2j * math.pi * 1000 * 40e-6
CAPACITOR = 0.3 + 1 / (2j * math.pi * 20 * 1000e-6)
LEAKAGE = 0.8 + 2j * math.pi * 1000 * 0.1e-3
DOUBLE = st.floats(-3, 8, allow_subnormal=False)


@given(st.floats(0.02, 8), DOUBLE, st.sampled_from([(None, 8.0), (8.0, 4.0), (16.0, 4.0)]))
def test_phasors_give_back_any_complex_source(
    real: float, reactive: float, loads: tuple[float | None, float]
) -> None:
    source = complex(real, reactive)
    held = [r for load in loads for r in with_phase(load, source)]
    result = one("source_impedance", held).figure
    assume(result.bound is None)
    assert result.value == pytest.approx(abs(source), rel=1e-9)
    assert one("damping_factor", held).figure.value == pytest.approx(8 / abs(source), rel=1e-9)
    angles = derived("source_impedance_phase", held)
    for given_ in angles:
        assert isinstance(given_, Derived)
        assert given_.figure.value == pytest.approx(math.degrees(cmath.phase(source)), abs=1e-6)
    assert derived("regulation_resistance", held) == []


@pytest.mark.parametrize("source", [COIL, CAPACITOR, LEAKAGE])
@pytest.mark.parametrize("loads", [(None, 8.0), (8.0, 4.0)])
def test_without_phase_the_magnitude_is_a_bound(
    source: complex, loads: tuple[float | None, float]
) -> None:
    """An output coil, a coupling capacitor at 20 Hz, leakage: closed forms of L, C and R."""
    held = [r for load in loads for r in with_phase(load, source) if r.metric == "level"]
    result = one("source_impedance", held).figure
    assert result.bound == "lower"
    assert result.value - 2 * result.uncertainty < abs(source)
    assert result.remark is not None
    factor = one("damping_factor", held).figure
    assert factor.bound == "upper"
    regulation = one("regulation_resistance", held).figure
    assert regulation.bound is None
    assert regulation.value >= result.value
    assert abs(source) <= regulation.value + 2 * regulation.uncertainty


def test_the_output_coil_is_seen_with_phase_alone() -> None:
    """A coil of 40 uH and 0.05 ohm: a damping factor of 31, which magnitudes put at 100 or more."""
    held = [r for load in (None, 8.0) for r in with_phase(load, COIL)]
    seen = one("damping_factor", held).figure
    assert seen.value == pytest.approx(8 / abs(COIL), rel=1e-9)
    blind = one("damping_factor", [r for r in held if r.metric == "level"]).figure
    assert blind.value > 3 * seen.value


def test_uncertainty_of_phasors_agrees_with_random_draws() -> None:
    """First-order propagation against 20 000 draws of phasors and loads (JCGM 101)."""
    rng = np.random.default_rng(3)
    source, r1, r2 = 0.3 + 0.5j, 16.0, 8.0

    def phasor(ohm: float) -> Phasor:
        return Phasor(ohm / (ohm + source), 2e-4, 3e-4, ohm, 5e-3)

    def drawn(ohm: float) -> tuple[np.ndarray, np.ndarray]:
        size, turn, load = rng.normal(size=(3, 20_000))
        volts = ohm / (ohm + source) * (1 + 2e-4 * size) * np.exp(3e-4j * turn)
        return volts, ohm * (1 + 5e-3 * load)

    (v1, l1), (v2, l2) = drawn(r1), drawn(r2)
    z = l1 * l2 * (v1 / v2 - 1) / (l1 - v1 / v2 * l2)
    result = complex_impedance(phasor(r1), phasor(r2))
    assert result.u == pytest.approx(np.std(np.abs(z)), rel=0.03)
    assert result.u_rad == pytest.approx(np.std(np.angle(z)), rel=0.03)


def test_phase_is_read_against_the_generator_of_the_same_record() -> None:
    output = sines(48_000.0, 1.0, {997.0: 2.0}, phase=1.1)
    sent = sines(48_000.0, 1.0, {997.0: 0.5}, phase=0.3)
    capture = tone_material(track(output), hz=997.0, generator=track(sent))
    assert figures(capture)["gain_phase"].value == pytest.approx(math.degrees(0.8), abs=1e-3)
    assert reasons(tone_material(track(output), hz=997.0))["gain_phase"][0] == "not_applicable"


def level(load_ohm: float | None, source_ohm: float, **more: object) -> Reading:
    """2 V behind a source impedance, across a load or open."""
    volts = 2.0 if load_ohm is None else 2.0 * load_ohm / (load_ohm + source_ohm)
    return reading("level", volts, 0.005, 1e-5, load_ohm=load_ohm, **more)


OHMS = st.floats(0.05, 20)
LOADS = st.floats(2, 64)


@given(OHMS, LOADS, LOADS)
def test_two_loads_give_back_the_source(source: float, one_load: float, other: float) -> None:
    light, heavy = max(one_load, other), min(one_load, other)
    assume(light > 1.2 * heavy)
    result = one("regulation_resistance", [level(light, source), level(heavy, source)])
    assert result.figure.value == pytest.approx(source, rel=1e-9)


@given(OHMS, LOADS)
def test_open_and_loaded_give_back_the_source(source: float, load: float) -> None:
    assume(source > 0.02 * load)
    result = one("source_impedance", [level(load, source), level(None, source)])
    figure = result.figure
    assert figure.bound == "lower"
    assert figure.value + ONE_SIDED * figure.uncertainty == pytest.approx(source, rel=1e-9)
    assert result.like.load_ohm == load


def test_bounds_without_phase_hold_in_99_of_100_records() -> None:
    """A resistance of 0.05 ohm under voltages with noise of 0.02 %, and loads unsure by 0.5 %."""
    rng = np.random.default_rng(5)
    wrong = 0
    for turns in rng.normal(size=(500, 4)):
        (open_volts, volts), (load, _) = 2e-4 * turns[:2], 5e-3 * turns[2:]
        heavy = 2.0 * (8 * (1 + load)) / (8 * (1 + load) + 0.05)
        pair = [
            reading("level", 2.0 * (1 + open_volts), 0.005, 2e-4, load_ohm=None),
            reading("level", heavy * (1 + volts), 0.005, 2e-4),
        ]
        ohms, factor = (one(n, pair).figure for n in ("source_impedance", "damping_factor"))
        assert factor.value == pytest.approx(8 / ohms.value)
        wrong += ohms.value > 0.05 if ohms.bound == "lower" else ohms.value < 0.05
    assert wrong <= 11  # binomial, 1 % of 500: more in one of a hundred


def test_calibration_cancels_in_one_range_and_counts_in_two() -> None:
    """Sensitivity of R (k - 1) to k is R: 0.5 % of each voltage where they don't share it."""
    same = one("source_impedance", [level(None, 1.0), level(8, 1.0)]).figure
    k = 9 / 8
    loads = 0.005 * 1.0
    assert same.uncertainty == pytest.approx(math.hypot(8 * k * 1e-5 * math.sqrt(2), loads))
    assert same.estimation == pytest.approx(8 * k * 1e-5 * math.sqrt(2))
    other = level(8, 1.0, calibration_key="bench/2024-01-01/2 V")
    across = one("source_impedance", [level(None, 1.0), other]).figure
    assert across.uncertainty == pytest.approx(math.hypot(8 * k * 0.005 * math.sqrt(2), loads))


def test_uncertainty_agrees_with_random_draws() -> None:
    """First-order propagation against 20 000 draws of voltages and loads (JCGM 101)."""
    rng = np.random.default_rng(1)
    v1, v2, r1, r2 = (
        m * (1 + u * rng.normal(size=20_000))
        for m, u in ((1.8, 2e-4), (1.65, 2e-4), (16.0, 5e-3), (8.0, 5e-3))
    )
    drawn = r1 * r2 * (v1 / v2 - 1) / (r1 - v1 / v2 * r2)
    result = regulation_resistance(Loaded(1.8, 2e-4, 16, 5e-3), Loaded(1.65, 2e-4, 8, 5e-3))
    assert result.u == pytest.approx(np.std(drawn), rel=0.03)


def test_a_pair_that_tells_it_nearly_best_is_taken() -> None:
    """Of open, 8 and 4 ohm, the pair without open has the loads' errors twice over."""
    open_, eight, four = level(None, 0.8), level(8, 0.8), level(4, 0.8)
    result = one("source_impedance", [four, eight, open_])
    assert result.made_from == (open_, eight)
    worse = one("source_impedance", [eight, four]).figure.uncertainty
    assert worse > 2 * result.figure.uncertainty


def test_of_pairs_as_good_the_cleaner_is_taken() -> None:
    bent, clean = reading("thd", 2.0, load_ohm=8.0), reading("thd", 0.3, load_ohm=4.0)
    readings = [level(None, 0.8), level(8, 0.8), level(4, 0.8), bent, clean]
    assert one("source_impedance", readings).like.load_ohm == 4.0


def test_each_tap_and_frequency_stands_by_itself() -> None:
    readings = [
        level(load, source, tap=tap, frequency_hz=hz)
        for tap, hz, source in (("8 ohm", 20.0, 0.9), ("8 ohm", 1e3, 0.8), ("4 ohm", 1e3, 0.4))
        for load in (None, 8.0)
    ]
    result = derived("source_impedance", readings)
    figures_ = [d.figure for d in result if isinstance(d, Derived)]
    assert [round(f.value + ONE_SIDED * f.uncertainty, 6) for f in figures_] == [0.9, 0.8, 0.4]
    factors = [
        d.figure.value for d in derived("damping_factor", readings) if isinstance(d, Derived)
    ]
    nominal = (8, 8, 4)
    assert factors == pytest.approx([n / f.value for n, f in zip(nominal, figures_, strict=True)])


@pytest.mark.parametrize(
    ("tap", "ohm"),
    [("8 ohm", 8), ("16 ohm", 16), ("4ohm", 4), (None, 8), ("16\u03a9", 16), ("16 R", 16),
     ("3.75 Ohm tap", 3.75)],
)  # fmt: skip
def test_the_tap_names_the_nominal_load(tap: str | None, ohm: float) -> None:
    held = [level(None, 0.5, tap=tap), level(8, 0.5, tap=tap)]
    assert nominal_load(held[0]) == ohm
    result = one("damping_factor", held).figure
    assert result.value == pytest.approx(ohm / one("source_impedance", held).figure.value)
    assert result.detail == {"nominal load": f"{ohm:g} ohm"}


def test_a_tap_of_another_name_has_no_damping_factor() -> None:
    held = [level(None, 0.5, tap="high"), level(8, 0.5, tap="high")]
    assert "names no nominal load" in refused("damping_factor", held).reason
    assert isinstance(derived("source_impedance", held)[0], Derived)


def test_a_headphone_output_has_the_load_it_was_measured_into() -> None:
    held = [level(load, 10.0, output="headphone left") for load in (None, 32.0)]
    result = one("damping_factor", held).figure
    assert result.detail == {"nominal load": "32 ohm"}
    assert result.value == pytest.approx(32 / one("source_impedance", held).figure.value)


def test_levels_that_cannot_be_told_apart_give_a_bound() -> None:
    readings = [
        reading("level", 2.0, 0.005, 1e-4, load_ohm=None),
        reading("level", 1.9999, 0.005, 1e-4),
    ]
    result = one("source_impedance", readings).figure
    assert result.bound == "upper"
    # A pure reactance: |1 + jX / R| is the ratio of the voltages, their uncertainty added.
    ratio = 2 / 1.9999 * (1 + ONE_SIDED * 1e-4 * math.sqrt(2))
    assert result.value == pytest.approx(
        8 * math.sqrt(ratio**2 - 1) * (1 + ONE_SIDED * 0.005 * math.sqrt(2)), rel=1e-9
    )
    factor = one("damping_factor", readings).figure
    assert factor.bound == "lower"
    assert factor.value == pytest.approx(8 / result.value)


def test_a_rise_by_noise_leaves_a_bound_above_nothing() -> None:
    """A perfect source whose voltage noise puts up by two and a half standard uncertainties."""
    pair = [reading("level", volts, 0.005, 1e-4, load_ohm=load) for volts, load in
            ((2.0, None), (2.0007, 8.0))]  # fmt: skip
    result = one("source_impedance", pair).figure
    assert result.bound == "upper"
    assert result.value == pytest.approx(ONE_SIDED * 8 * 1e-4 * math.sqrt(2), rel=0.01)
    assert one("damping_factor", pair).figure.bound == "lower"


def test_a_rise_under_load_is_refused() -> None:
    refusal = refused("source_impedance", [level(None, 0.0), reading("level", 2.1, 0.005, 1e-5)])
    assert "rises by 5 %" in refusal.reason


def test_a_fall_that_no_source_explains_is_refused() -> None:
    readings = [reading("level", 2.0, load_ohm=16.0), reading("level", 0.9, load_ohm=8.0)]
    assert "falls by more" in refused("source_impedance", readings).reason


@pytest.mark.parametrize("drives", [(0.5, 0.6), (None, None)])
def test_unequal_or_unknown_drive_is_refused(drives: tuple[float | None, float | None]) -> None:
    readings = [
        level(None, 1.0, generator_vrms=drives[0]), level(8, 1.0, generator_vrms=drives[1])
    ]  # fmt: skip
    assert "generator level" in refused("damping_factor", readings).reason


def test_a_limiting_output_is_refused() -> None:
    distortion = reading("thd", 12.0, load_ohm=8.0)
    refusal = refused("source_impedance", [level(None, 1.0), level(8, 1.0), distortion])
    assert "12 % distortion" in refusal.reason


def test_one_load_gives_nothing() -> None:
    assert derived("source_impedance", [level(8, 1.0), level(8, 1.0)]) == []
    assert derived("source_impedance", []) == []


def test_an_impedance_table_gives_its_curve() -> None:
    columns = {
        "frequency": TableColumn(name="f", unit="Hz"),
        "magnitude": TableColumn(name="z", unit="ohm"),
    }
    table = {"frequency": np.array([1000.0, 20.0]), "magnitude": np.array([0.8, 1.25])}
    stimulus = Table(table="impedance", columns=columns)
    findings, (trace,) = measure(CaptureData(stimulus, Conditions(), {}, table=table))
    assert {f.metric.name for f in findings} >= {"impedance_at", "impedance_minimum"}
    assert trace.data.x.tolist() == [20, 1000]
    assert trace.data.y.tolist() == [1.25, 0.8]
    assert trace.data.uncertainty is not None
    assert trace.data.uncertainty[0] == pytest.approx(0.01 / math.sqrt(12))
