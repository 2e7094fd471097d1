"""Tables of distortion, harmonics and spectra against closed forms and numpy's own figures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import get_window

from backbench.documents.conditions import Conditions
from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.metrics.declaration import CaptureData
from backbench.metrics.findings import Finding
from backbench.metrics.measurement import measure
from backbench.signal.uncertainty import ONE_SIDED
from tones import figures, reasons

UNITS = {
    "frequency": "Hz", "power": "W", "level": "V", "generator": "V", "thd": "%", "thd_n": "%",
    "order": "1",
}  # fmt: skip


def given(
    kind: str, table: dict[str, np.ndarray], tone_hz: float | None = None, **units: str
) -> CaptureData:
    columns = {key: TableColumn(name=key, unit=units.get(key, UNITS[key])) for key in table}
    stimulus = Table(table=kind, columns=columns, tone_hz=tone_hz)  # type: ignore[arg-type]
    return CaptureData(
        stimulus, Conditions(load_ohm=8.0, power_w=5.0), {}, table=table, load_uncertainty=0.01
    )


def of(data: CaptureData, metric: str) -> list[Finding]:
    return [f for f in measure(data)[0] if f.metric.name == metric]


def test_distortion_over_power_gives_a_reading_a_row_and_a_curve() -> None:
    power = np.array([0.1, 1.0, 5.0, 10.0])
    percent = np.array([0.02, 0.031, 0.104, 1.25])
    data = given("distortion", {"power": power, "thd": percent, "thd_n": 2 * percent}, 1000.0)
    thd = of(data, "thd")
    assert [f.figure.value for f in thd if f.figure] == percent.tolist()
    assert [f.power_w for f in thd] == power.tolist()
    assert {f.figure.frequency_hz for f in thd if f.figure} == {1000.0}
    assert all("its harmonics, band and detector" in str(f.reason) for f in thd)
    assert [f.figure.value for f in of(data, "thd_n") if f.figure] == (2 * percent).tolist()
    volts = [f.figure.value for f in of(data, "level") if f.figure]
    assert volts == pytest.approx(np.sqrt(power * 8.0).tolist())
    (drawn,) = measure(data)[1]
    assert drawn.name == "distortion_over_power"
    assert drawn.data.x.tolist() == power.tolist()
    assert drawn.data.y.tolist() == percent.tolist()


def test_power_of_a_level_in_the_load_and_gain_over_the_generator() -> None:
    table = {"level": np.array([2.0, 4.0]), "generator": np.array([0.1, 0.2]),
             "thd": np.array([0.1, 0.2])}  # fmt: skip
    data = given("distortion", table, 1000.0)
    assert [f.figure.value for f in of(data, "output_power") if f.figure] == [0.5, 2.0]
    assert [f.generator_vrms for f in of(data, "thd")] == [0.1, 0.2]
    for finding in of(data, "gain"):
        assert finding.figure is not None
        assert finding.figure.value == pytest.approx(20 * math.log10(20))


def test_distortion_over_frequency_stands_at_the_stated_power() -> None:
    hz = np.array([20.0, 100.0, 1000.0, 10_000.0])
    data = given("distortion", {"frequency": hz, "thd_n": np.full(4, -80.0)}, thd_n="dB")
    thd_n, thd = of(data, "thd_n"), of(data, "thd")
    assert [f.figure.frequency_hz for f in thd_n if f.figure] == hz.tolist()
    assert {f.power_w for f in thd_n} == {5.0}
    assert all(f.figure and f.figure.value == pytest.approx(0.01) for f in thd_n)
    # THD is at most THD+N as long as that holds the tenth harmonic.
    assert [f.figure.bound if f.figure else f.status for f in thd] == ["upper"] * 3 + [
        "not_applicable"
    ]
    assert [trace.name for trace in measure(data)[1]] == ["distortion_over_frequency"]


def test_a_distortion_below_its_digits_is_a_bound() -> None:
    data = given("distortion", {"power": np.array([1.0, 2.0]), "thd": np.array([0.0, 0.01])}, 1e3)
    first = of(data, "thd")[0].figure
    assert first is not None
    assert first.bound == "upper"
    assert first.value == pytest.approx(ONE_SIDED * 0.01 / math.sqrt(12))


def test_rows_that_nothing_else_tells_apart_carry_their_level() -> None:
    data = given("distortion", {"level": np.array([1.0, 2.0]), "thd": np.array([0.1, 0.2])}, 1e3)
    details = [f.figure.detail for f in of(data, "thd") if f.figure]
    assert details == [{"level": "1 V"}, {"level": "2 V"}]


def test_distortion_above_0_db_is_refused() -> None:
    data = given("distortion", {"power": np.array([1.0]), "thd": np.array([60.0])}, 1e3, thd="dB")
    assert "above 0 dB" in reasons(data)["thd"][1]


@pytest.mark.parametrize(
    ("level", "unit"),
    [
        (np.array([2.0, 0.02, 0.006, 0.0004]), "V"),
        (20 * np.log10([2.0, 0.02, 0.006, 0.0004]), "dBV"),
        (20 * np.log10([1.0, 0.01, 0.003, 0.0002]), "dB"),
        (np.array([100.0, 1.0, 0.3, 0.02]), "%"),
    ],
)
def test_harmonics_in_any_unit(level: np.ndarray, unit: str) -> None:
    data = given("harmonics", {"order": np.arange(1.0, 5.0), "level": level}, 1000.0, level=unit)
    thd = figures(data)["thd"]
    assert thd.value == pytest.approx(math.sqrt(1 + 0.09 + 0.0004), rel=1e-9)
    assert thd.detail == {"harmonics": "2 to 4"}
    harmonics = {f.figure.order: f.figure.value for f in of(data, "harmonic") if f.figure}
    assert harmonics == pytest.approx(
        {2: -40.0, 3: 20 * math.log10(0.003), 4: 20 * math.log10(0.0002)}, abs=1e-9
    )
    if unit in {"V", "dBV"}:
        assert figures(data)["output_power"].value == pytest.approx(0.5)
    else:
        assert "no volts" in reasons(data)["level"][1]


def test_harmonics_by_frequency_without_the_fundamental() -> None:
    table = {"frequency": np.array([3000.0, 2000.0]), "level": np.array([-50.0, -40.0])}
    thd = figures(given("harmonics", table, 1000.0, level="dB"))["thd"]
    assert thd.value == pytest.approx(math.hypot(1.0, 100 * 10**-2.5))
    for other, unit, reason in (
        (table, "dBV", "the fundamental is not among the rows"),
        ({**table, "frequency": np.array([2000.0, 2500.0])}, "dB", "no multiple"),
        ({**table, "frequency": np.array([2000.0, 2001.0])}, "dB", "stands twice"),
    ):
        assert reason in reasons(given("harmonics", other, 1000.0, level=unit))["thd"][1]
    table = {"order": np.array([3.0, 4.0]), "level": np.array([-50.0, -40.0])}
    assert "lacks the second" in reasons(given("harmonics", table, 1e3, level="dB"))["thd"][1]


def spectrum_of(window: str, tone_hz: float, noise: float, seed: int) -> dict[str, np.ndarray]:
    """What numpy's transform makes of a tone with harmonics of 0.3 %, 0.1 % and 0.02 %, 2 V rms."""
    rate, n = 48_000.0, 32_768
    t = np.arange(n) / rate
    volts = 2 * math.sqrt(2) * sum(
        a * np.sin(2 * np.pi * k * tone_hz * t + k)
        for k, a in {1: 1.0, 2: 0.003, 3: 0.001, 4: 0.0002}.items()
    )  # fmt: skip
    shape = get_window(window, n)
    noisy = volts + np.random.default_rng(seed).normal(0, noise, n)
    rms = np.abs(np.fft.rfft(noisy * shape)) * math.sqrt(2) / shape.sum()
    return {"frequency": np.fft.rfftfreq(n, 1 / rate), "level": rms}


@pytest.mark.parametrize("window", ["hann", "blackmanharris", "flattop"])
@pytest.mark.parametrize("tone_hz", [997.0, 1000.0])
def test_a_spectrum_gives_the_tones_distortion_whatever_the_window(
    window: str, tone_hz: float
) -> None:
    data = given("spectrum", spectrum_of(window, tone_hz, 1e-3, 3), tone_hz)
    result = figures(data)
    true = 100 * math.sqrt(0.003**2 + 0.001**2 + 0.0002**2)
    for name, truth in {
        "thd": true,
        "thd_n": 100 * math.hypot(true / 100, 1e-3 * math.sqrt(20 / 24) / 2),
    }.items():
        figure = result[name]
        if figure.bound:
            assert figure.value >= truth
        else:
            assert abs(figure.value - truth) <= 2.5 * figure.uncertainty, name
            assert figure.uncertainty < 0.03 * truth
    second = next(f.figure for f in of(data, "harmonic") if f.figure and f.figure.order == 2)
    assert second.value == pytest.approx(20 * math.log10(0.003), abs=0.2)
    (drawn,) = measure(data)[1]
    assert drawn.y_unit == "dBV"
    peak = float(drawn.data.y.max())
    assert peak == pytest.approx(20 * math.log10(2.0), abs=1.5)


@pytest.mark.parametrize("tone_hz", [1000.0, None])
def test_a_spectrum_in_plain_db_is_drawn_re_its_strongest_line(tone_hz: float | None) -> None:
    table = spectrum_of("hann", 1000.0, 1e-3, 3)
    in_db = {"frequency": table["frequency"], "level": 20 * np.log10(table["level"]) + 17.0}
    data = given("spectrum", in_db, tone_hz, level="dB")
    (drawn,) = measure(data)[1]
    assert (drawn.name, drawn.y_unit) == ("relative_spectrum", "dB")
    strongest = 20 * np.log10(table["level"] / table["level"].max())
    np.testing.assert_allclose(drawn.data.y, strongest, atol=1e-9)
    if tone_hz:
        volts = given("spectrum", table, tone_hz)
        assert figures(data)["thd"].value == pytest.approx(figures(volts)["thd"].value)
        assert "none is known in volts" in str(figures(data)["thd"].remark)


def test_harmonics_that_noise_hides_are_bounds() -> None:
    data = given("spectrum", spectrum_of("hann", 1000.0, 0.3, 5), 1000.0)
    fourth = next(f.figure for f in of(data, "harmonic") if f.figure and f.figure.order == 4)
    assert fourth.bound == "upper"
    assert fourth.value > 20 * math.log10(0.0002)


def test_a_spectrum_that_gives_no_figure_says_why() -> None:
    even = np.linspace(0, 24_000, 4001)
    flat = np.full(len(even), 1e-5)
    cases = {
        "without tone_hz": (even, None),
        "no line stands": (even, 1000.0),
        "even steps": (even**1.1, 1000.0),
        "too far apart": (even[::50], 1000.0),
        "outside the table": (even, 50_000.0),
    }
    for reason, (hz, tone_hz) in cases.items():
        data = given("spectrum", {"frequency": hz, "level": flat[: len(hz)]}, tone_hz)
        status, text = reasons(data)["thd"]
        assert status == "rejected"
        assert reason in text
