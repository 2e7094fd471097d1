"""Findings of a recording from those of its segments: closed forms, properties, refusals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.metrics.declaration import CurveData, MeasuredValue
from backbench.metrics.measurement import Finding, Trace, measure
from backbench.metrics.registry import registry
from backbench.metrics.segments import Measured, over_time
from tones import idle_material, sines, tone_material, track

CALIBRATION = 0.004


def finding(name: str, figure: MeasuredValue | None, reason: str | None = None) -> Finding:
    status = "rejected" if figure is None else "at_floor" if figure.bound else "measured"
    return Finding(registry().metrics[name], 1, status, figure, reason)


def of(name: str, *figures: MeasuredValue) -> Finding:
    """The one finding of a recording whose segments gave these figures."""
    (result,), traces = over_time([([finding(name, figure)], []) for figure in figures])
    assert not traces
    return result


def mean(name: str, *values: float, u: float = 0.01) -> float:
    figure = of(name, *(MeasuredValue(value, u) for value in values)).figure
    assert figure is not None
    return figure.value


@pytest.mark.parametrize(
    ("name", "values", "expected"),
    [
        ("level", (1.0, 2.0), math.sqrt(2.5)),
        ("hiss", (3e-9, 4e-9), math.sqrt(12.5) * 1e-9),
        ("thd", (0.3, 0.4), math.sqrt(0.125)),
        ("output_power", (1.0, 4.0), 2.5),
        ("dc_offset", (-1.0, 0.5), -0.25),
        ("noise_468", (1.0, 2.0), 2.0),
        ("harmonic", (-60.0, -80.0), 10 * math.log10((1e-6 + 1e-8) / 2)),
        ("sinad", (60.0, 80.0), -10 * math.log10((1e-6 + 1e-8) / 2)),
        ("tilt", (-1.0, 2.0), 0.5),
        ("overshoot", (3.0, 4.0), 3.5),
        ("ringing_frequency", (40e3, 42e3), 41e3),
        ("channel_phase", (179.0, -179.0), 180.0),
        ("channel_phase", (-10.0, 20.0), 5.0),
    ],
)
def test_means_are_those_of_what_adds_up(
    name: str, values: Sequence[float], expected: float
) -> None:
    """An hour's mean square is the mean of its minutes' mean squares."""
    assert abs(mean(name, *values)) == pytest.approx(abs(expected), rel=1e-12)


@given(st.lists(st.floats(0.001, 30.0), min_size=2, max_size=9))
def test_one_quantity_told_in_three_units_stays_one(percents: list[float]) -> None:
    """SINAD is the inverse of THD+N, and equivalent bits follow from it, segment by segment."""
    sinads = [-20 * math.log10(percent / 100) for percent in percents]
    sinad = mean("sinad", *sinads)
    assert sinad == pytest.approx(-20 * math.log10(mean("thd_n", *percents) / 100), abs=1e-9)
    bits = mean("equivalent_bits", *[(one - 1.7609) / 6.0206 for one in sinads])
    assert bits == pytest.approx((sinad - 1.7609) / 6.0206, abs=1e-4)


def test_scatter_is_added_to_what_the_segments_share() -> None:
    """u^2 = 0.03^2 + s^2 / n, with s = 0.2 of three values; the shared part isn't reduced."""
    figure = of("dc_offset", *(MeasuredValue(v, 0.03, 0.01) for v in (0.8, 1.0, 1.2))).figure
    assert figure is not None
    assert figure.uncertainty == pytest.approx(math.hypot(0.03, 0.2 / math.sqrt(3)))
    assert figure.estimation == pytest.approx(math.hypot(0.01, 0.2 / math.sqrt(3)))
    assert figure.dof == pytest.approx(figure.uncertainty**4 / ((0.04 / 3) ** 2 / 2))


def shorts(n: int = 5, *, jump: float = 1.0) -> list[Measured]:
    """A tone's segments; from the middle on the level is `jump` times as high."""
    volts = sines(48_000.0, 0.5 * n, {1000.3: 1.0, 2000.6: 1e-3})
    volts[len(volts) // 2 :] *= jump
    volts += np.random.default_rng(4).normal(0, 1e-5, len(volts))
    parts = np.split(volts, n)
    return [measure(tone_material(track(p, calibration=CALIBRATION))) for p in parts]


SHORTS = shorts()


@given(st.permutations(SHORTS))
def test_the_order_of_segments_doesn_t_matter(order: list[Measured]) -> None:
    first, second = over_time(SHORTS), over_time(order)
    for one, other in zip(first[0], second[0], strict=True):
        assert (one.metric, one.status) == (other.metric, other.status)
        if one.figure is not None and other.figure is not None:
            assert other.figure.value == pytest.approx(one.figure.value, rel=1e-12)
            assert other.figure.uncertainty == pytest.approx(one.figure.uncertainty, rel=1e-9)
    for curve, again in zip(first[1], second[1], strict=True):
        np.testing.assert_allclose(again.data.y, curve.data.y, rtol=1e-12)
        np.testing.assert_array_equal(again.data.x, curve.data.x)


@pytest.mark.parametrize("n", [2, 30])
def test_equal_segments_give_the_figures_of_one(n: int) -> None:
    result, curves = over_time(SHORTS[:1] * n)
    for one, alone in zip(result, SHORTS[0][0], strict=True):
        assert (one.metric, one.status, one.track) == (alone.metric, alone.status, alone.track)
        if one.figure is None or alone.figure is None:
            assert one == alone
            continue
        assert one.figure.value == pytest.approx(alone.figure.value, rel=1e-12)
        assert one.figure.uncertainty == pytest.approx(alone.figure.uncertainty, rel=1e-9)
        kept = replace(one.figure, value=0.0, uncertainty=0.0, estimation=0.0, dof=0.0, remark=None)
        assert kept == replace(alone.figure, value=0.0, uncertainty=0.0, estimation=0.0, dof=0.0,
                               remark=None)  # fmt: skip
        assert (one.reason or "").endswith(f"mean of {n} segments")
    level = next(f.figure for f in result if f.metric.name == "level")
    assert level is not None
    assert level.uncertainty >= CALIBRATION * level.value
    np.testing.assert_allclose(curves[0].data.y, SHORTS[0][1][0].data.y, rtol=1e-12)


def test_one_segment_is_left_as_it_is() -> None:
    assert over_time(iter(SHORTS[:1])) is SHORTS[0]


def test_a_step_of_level_midway_shows_in_the_uncertainty() -> None:
    def level(segments: list[Measured]) -> MeasuredValue:
        result = next(f.figure for f in over_time(segments)[0] if f.metric.name == "level")
        assert result is not None
        return result

    steady, stepped = level(shorts(6)), level(shorts(6, jump=1.1))
    # Three segments at 1 and three at 1.1 scatter by 0.05 sqrt(6 / 5).
    scatter = 0.05 * math.sqrt(6 / 5) / math.sqrt(6) / math.sqrt(2)
    assert stepped.uncertainty == pytest.approx(math.hypot(steady.uncertainty, scatter), rel=0.05)
    assert stepped.value == pytest.approx(math.sqrt((1 + 1.21) / 4), rel=1e-4)


def test_bounds_hold_for_the_mean() -> None:
    figure = of("hum", MeasuredValue(3.0, 0.1, bound="upper"), MeasuredValue(4.0, 0.1)).figure
    assert figure is not None
    assert (figure.bound, figure.value) == ("upper", pytest.approx(math.sqrt(12.5)))
    refused = of(
        "snr", MeasuredValue(3.0, 0.1, bound="upper"), MeasuredValue(4.0, 0.1, bound="lower")
    )
    assert (refused.status, refused.reason) == (
        "rejected", "the segments bound it from both sides",
    )  # fmt: skip


def test_a_choice_that_changes_is_refused() -> None:
    assert of("polarity", MeasuredValue(-1.0, 0.0), MeasuredValue(-1.0, 0.0)).status == "measured"
    refused = of("polarity", MeasuredValue(-1.0, 0.0), MeasuredValue(1.0, 0.0))
    assert refused.reason == "it is not the same throughout: the segments give -1, 1"


def test_a_metric_refused_in_one_segment_is_refused_with_its_reason() -> None:
    good = finding("thd", MeasuredValue(0.1, 0.01))
    bad = finding("thd", None, "the converter clipped")
    (result,), _ = over_time([([good], []), ([good], []), ([bad], [])])
    assert (result.status, result.figure) == ("rejected", None)
    assert result.reason == "in segment 3 of 3: the converter clipped"


def test_what_has_no_meaning_in_a_segment_has_none() -> None:
    none = replace(finding("gain", None, "unknown level"), status="not_applicable")
    some, bad = finding("gain", MeasuredValue(20.0, 0.1)), finding("gain", None, "silence")
    assert over_time([([none], []), ([none], [])])[0] == [none]
    (result,), _ = over_time([([some], []), ([none], [])])
    assert (result.status, result.reason) == ("not_applicable", "in segment 2 of 2: unknown level")
    (result,), _ = over_time([([none], []), ([bad], [])])
    assert (result.status, result.reason) == ("rejected", "in segment 2 of 2: silence")


def test_figures_that_only_some_segments_give_are_refused() -> None:
    second, third = (finding("harmonic", MeasuredValue(-60.0, 0.1, order=n)) for n in (2, 3))
    (result,), _ = over_time([([second, third], []), ([second], [])])
    assert result.reason == "segment 2 of 2 doesn't give the figures that the first does"
    found_, _ = over_time([([second, third], []), ([second, third], [])])
    assert [f.figure.order for f in found_ if f.figure] == [2, 3]


def test_a_line_is_reported_at_the_middle_of_its_frequencies() -> None:
    figure = of(
        "mains_line", *(MeasuredValue(1.0, 0.1, frequency_hz=hz) for hz in (50.2, 50.0, 50.1))
    )
    assert figure.figure is not None
    assert figure.figure.frequency_hz == 50.1


def curve(name: str, y_unit: str, x: list[float], y: list[float], u: float | None = None) -> Trace:
    own = None if u is None else np.full(len(x), u)
    return Trace(name, 1, 1, "Hz", y_unit, CurveData(np.array(x), np.array(y), own))


def test_curves_of_levels_are_averaged_in_power() -> None:
    one = curve("spectrum", "dBV", [10.0, 20.0], [-60.0, -20.0], 0.3)
    other = curve("spectrum", "dBV", [10.0, 21.0], [-80.0, -20.0], 0.4)
    _, (result,) = over_time([([], [one]), ([], [other])])
    assert result.data.y == pytest.approx([10 * math.log10((1e-6 + 1e-8) / 2), -20.0])
    assert result.data.x.tolist() == [10.0, 20.0]
    rms = math.sqrt((0.3**2 + 0.4**2) / 2)
    assert result.data.uncertainty == pytest.approx([math.hypot(rms, 10.0), rms])


def test_a_waveform_is_shown_as_the_first_segment_has_it_and_odd_curves_are_left_out() -> None:
    one = curve("waveform", "V", [0.0, 1.0], [1.0, -1.0])
    other = curve("waveform", "V", [0.0, 1.0], [3.0, -1.0])
    assert over_time([([], [one]), ([], [other])])[1][0].data is one.data
    longer = curve("waveform", "V", [0.0, 1.0, 2.0], [1.0, 1.0, 1.0])
    assert over_time([([], [one]), ([], [longer])])[1] == []
    assert over_time([([], [one]), ([], [])])[1] == []


@given(st.integers(2, 6))
def test_an_idle_record_in_segments_has_the_rms_of_the_whole(n: int) -> None:
    """Without a window's weight the mean squares are the same; with it they agree within u."""
    volts = np.random.default_rng(n).normal(0, 1e-4, 48_000 * n)
    whole = next(f for f in measure(idle_material(track(volts)))[0] if f.metric.name == "noise")
    parts = [measure(idle_material(track(part))) for part in np.split(volts, n)]
    result = next(f for f in over_time(parts)[0] if f.metric.name == "noise")
    assert result.figure is not None
    assert whole.figure is not None
    apart = abs(result.figure.value - whole.figure.value)
    assert apart <= 2 * math.hypot(result.figure.uncertainty, whole.figure.uncertainty)
    # White noise: 20 Hz to 20 kHz of a band of 24 kHz.
    expected = 1e-4 * math.sqrt(19_980 / 24_000)
    assert abs(result.figure.value - expected) <= 4 * result.figure.uncertainty
