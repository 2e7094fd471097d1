"""Responses across captures: tones, channels, controls, published mask, phono inputs."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.metrics.declaration import CaptureData, CurveData, MeasuredValue
from backbench.metrics.measurement import measure
from backbench.metrics.registry import registry
from backbench.metrics.session import CurveReading, Derived, DerivedCurve, Promised, Session
from backbench.signal.riaa import riaa_db
from bench_readings import derived, one, reading, refused

HZ = np.geomspace(10, 30_000, 400)


def gains(values: dict[float, float], **more: object) -> list[object]:
    return [reading("gain", db, 0.002, 1e-4, frequency_hz=hz, **more) for hz, db in values.items()]


def first_order(hz: float, low: float) -> float:
    return -10 * math.log10(1 + (low / hz) ** 2)


@given(st.floats(5, 100), st.floats(10, 40))
def test_tones_give_the_closed_form_of_a_high_pass(low: float, gain: float) -> None:
    hertz = [20.0, 50.0, 1000.0, 5000.0, 20_000.0]
    result = derived("response_of_tones", gains({hz: gain + first_order(hz, low) for hz in hertz}))
    assert [d.figure.frequency_hz for d in result if isinstance(d, Derived)] == [
        20.0, 50.0, 5000.0, 20_000.0
    ]  # fmt: skip
    for d in result:
        assert isinstance(d, Derived)
        hz = d.figure.frequency_hz or 0.0
        truth = first_order(hz, low) - first_order(1000, low)
        assert d.figure.value == pytest.approx(truth, abs=1e-9)


def test_tones_of_other_levels_and_too_few_tones() -> None:
    few = gains({20.0: 1.0, 1000.0: 1.0, 5000.0: 1.0, 10e3: 1.0})
    assert derived("response_of_tones", few) == []
    other = gains({20e3: 1.0}, generator_vrms=0.7)
    assert derived("response_of_tones", few + other) == []
    without = gains(dict.fromkeys((20.0, 50.0, 200.0, 5000.0, 10000.0), 1.0))
    assert "no tone at 1 kHz" in refused("response_of_tones", without).reason


def test_the_curve_of_tones_rises_in_frequency() -> None:
    values = {hz: 0.1 * n for n, hz in enumerate([5000.0, 20.0, 1000.0, 50.0, 20e3])}
    drawn = registry().curves["response_of_tones"].derive
    assert drawn is not None
    (result,) = drawn(Session(gains(values)))
    assert isinstance(result, DerivedCurve)
    assert result.data.x.tolist() == [20.0, 50.0, 1000.0, 5000.0, 20_000.0]
    assert result.data.y == pytest.approx([-0.1, 0.1, 0.0, -0.2, 0.2])


def curve(db: np.ndarray, u: float = 0.001, **more: object) -> CurveReading:
    like = reading("gain", 20.0, 0.001, 1e-4, **{"stimulus": "sweep", **more})
    return CurveReading("response", like, CurveData(HZ, db, np.full(len(HZ), u)))


def test_channels_that_differ_by_a_tilt() -> None:
    tilt = 0.2 * np.log10(HZ / 1000)
    left, right = curve(tilt), curve(np.zeros(len(HZ)), output="right")
    result = one("response_difference", [left.like, right.like], curves=[left, right])
    assert result.figure.value == pytest.approx(0.2 * math.log10(50), abs=1e-3)
    assert result.against == "right"


def test_swapping_the_channels_changes_nothing() -> None:
    bump = np.exp(-np.square(np.log(HZ / 5000))) * 0.7
    a = [curve(bump), curve(np.zeros(len(HZ)), output="right")]
    b = [curve(np.zeros(len(HZ))), curve(bump, output="right")]
    values = [
        one("response_difference", [c.like for c in pair], curves=pair).figure.value
        for pair in (a, b)
    ]
    assert values[0] == pytest.approx(values[1], abs=1e-9)
    assert values[0] == pytest.approx(0.7, abs=0.002)


def unsure_from_below(of: CurveReading, at_20_hz: float) -> CurveReading:
    """The curve with so much more uncertainty, in dB, that falls as the square of frequency."""
    below = at_20_hz * np.square(20 / HZ)
    u = np.hypot(0.001, below)
    data = CurveData(HZ, of.data.y, u)
    return replace(of, data=data, below={"from below": CurveData(HZ[:200], below[:200])})


@pytest.mark.parametrize(
    ("left", "right", "apart"),
    [(0.05, 0.05, 0.0), (0.05, 0.02, 0.03), (0.05, -0.02, 0.07), (0.05, 0.0, 0.05)],
)
def test_what_is_unsure_from_below_a_sweep_is_common(
    left: float, right: float, apart: float
) -> None:
    """GUM F.1.2.3: of a difference, what both values share alike cancels."""
    slope = 0.9 * np.exp(-np.square(np.log(HZ / 20)) * 4)
    pair = [
        unsure_from_below(curve(slope), left),
        unsure_from_below(curve(np.zeros(len(HZ)), output="right"), right),
    ]
    figure = one("response_difference", [c.like for c in pair], curves=pair).figure
    # The greatest of neighbours that noise may exchange is told a little wider.
    assert figure.uncertainty == pytest.approx(math.hypot(0.001 * math.sqrt(2), apart), rel=0.25)
    alone = [replace(c, below={}) for c in pair]
    wider = one("response_difference", [c.like for c in alone], curves=alone).figure
    assert wider.uncertainty == pytest.approx(math.sqrt(2e-6 + left**2 + right**2), rel=0.25)


@pytest.mark.parametrize(
    ("metric", "limit", "band", "margin"),
    [
        ("response_spread", 1.0, (20.0, 20_000.0), 1 - 0.2 * 3),
        ("response_spread", 0.5, (100.0, 10_000.0), 0.5 - 0.2 * 2),
        ("response_deviation", 0.3, (20.0, 20_000.0), 0.3 - 0.2 * math.log10(50)),
    ],
)
def test_margin_to_the_published_response(
    metric: str, limit: float, band: tuple[float, float], margin: float
) -> None:
    tilted = curve(0.2 * np.log10(HZ / 1000))
    promised = Promised("amp", metric, "at most", limit, band_low_hz=band[0], band_high_hz=band[1])
    result = one("response_margin", [tilted.like], curves=[tilted], promised=[promised])
    assert result.figure.value == pytest.approx(margin, abs=1e-3)


def test_a_mask_wider_than_the_sweep_is_refused() -> None:
    flat = curve(np.zeros(len(HZ)))
    wide = Promised("amp", "response_spread", "at most", 1.0, band_low_hz=5.0, band_high_hz=1e5)
    result = refused("response_margin", [flat.like], curves=[flat], promised=[wide])
    assert "outside the measured band" in result.reason


def settings_of(controls: str, at: dict[float, float], gain: float) -> list[object]:
    same = {"stimulus": "sweep", "controls": controls, "analysis_key": controls}
    levels = [
        reading("response_at", db, 0.0, 0.0, frequency_hz=hz, **same) for hz, db in at.items()
    ]
    return [*levels, reading("gain", gain, 0.001, 1e-4, **same)]


def test_range_of_the_tone_controls_holds_the_gain() -> None:
    """Bass at its greatest also lifts 1 kHz by half a decibel: the output tells the range."""
    readings = [
        *settings_of("bass max", {100.0: 11.5, 10_000.0: -0.5}, 20.5),
        *settings_of("bass min", {100.0: -12.0, 10_000.0: 0.0}, 20.0),
        *settings_of("flat", {100.0: 0.0, 10_000.0: 0.0}, 20.0),
    ]
    given_ = [d for d in derived("tone_control_range", readings) if isinstance(d, Derived)]
    result = {d.like.frequency_hz: d for d in given_}
    assert result[100.0].figure.value == pytest.approx(24.0)
    assert result[100.0].figure.detail == {"from": "bass min", "to": "bass max"}
    assert result[10_000.0].figure.value == pytest.approx(0.0)
    assert derived("tone_control_range", readings[:3]) == []


def phono(db: np.ndarray, name: str | None = "phono MM") -> CaptureData:
    columns = {
        "frequency": TableColumn(name="f", unit="Hz"),
        "level": TableColumn(name="l", unit="dB"),
    }
    return CaptureData(
        Table(table="response", columns=columns), Conditions(input=name), {},
        table={"frequency": HZ, "level": db},
    )  # fmt: skip


def found_in(capture_data: CaptureData) -> dict[str, MeasuredValue | str]:
    return {
        f.metric.name: f.figure or (f.reason or "")
        for f in measure(capture_data)[0] if f.metric.name.startswith("riaa")
    }  # fmt: skip


@pytest.mark.parametrize("amended", [False, True])
@pytest.mark.parametrize("error_db", [0.0, 0.8])
def test_riaa_error_of_a_known_deviation(amended: bool, error_db: float) -> None:
    """A curve with a bump of known height; the other curve differs by 3.0 dB at 20 Hz."""
    bump = error_db * np.exp(-np.square(np.log(HZ / 8000)))
    at_1k = error_db * math.exp(-(math.log(8) ** 2))
    result = found_in(phono(riaa_db(HZ, amended=amended) + bump))
    own, other = ("riaa_error_iec", "riaa_error")[:: 1 if amended else -1]
    assert isinstance(result[own], MeasuredValue)
    assert isinstance(result[other], MeasuredValue)
    assert result[own].value == pytest.approx(error_db - at_1k, abs=2e-3)
    assert result[other].value == pytest.approx(3.0, abs=0.1)


def test_riaa_is_only_told_of_phono_inputs() -> None:
    flat = phono(np.zeros(len(HZ)), "aux")
    assert found_in(flat) == dict.fromkeys(
        ("riaa_error", "riaa_error_iec"), "the input isn't named as a phono input"
    )
    unnamed = replace(flat, conditions=Conditions())
    assert "phono" in str(found_in(unnamed)["riaa_error"])
