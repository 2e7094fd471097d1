"""A tuner from a table: sensitivity, quieting, ultimate ratio, separation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.measurement import Finding, measure

DBF = np.arange(0.0, 82.0, 4.0)


def table(
    unit: dict[str, str] | None = None, ohm: float | None = None, **columns: object
) -> CaptureData:
    units = {"rf_level": "dBf", **dict.fromkeys(columns, "dB"), **(unit or {})}
    return CaptureData(
        Table(
            table="tuner", antenna_ohm=ohm,
            columns={key: TableColumn(name=key, unit=u) for key, u in units.items()},
        ),
        Conditions(), {},
        table={"rf_level": DBF, **{k: np.asarray(v, dtype=float) for k, v in columns.items()}},
    )  # fmt: skip


def findings(capture_data: CaptureData) -> dict[str, Finding]:
    return {f.metric.name: f for f in measure(capture_data)[0]}


def figure(capture_data: CaptureData, metric: str) -> MeasuredValue:
    given_ = findings(capture_data)[metric].figure
    assert given_ is not None, findings(capture_data)[metric].reason
    return given_


def linear(slope: float, start: float, most: float = 200.0) -> np.ndarray:
    """Signal to noise that rises straight with the RF level."""
    return np.minimum(start + slope * DBF, most)


@given(st.floats(1.0, 2.5), st.floats(-10, 20))
@settings(max_examples=20, deadline=None)
def test_closed_form_of_a_straight_rise(slope: float, start: float) -> None:
    snr = linear(slope, start)
    capture_data = table(
        audio_level=np.zeros(len(DBF)), noise=-snr, distortion=np.full(len(DBF), -200.0)
    )
    quieting = figure(capture_data, "quieting_sensitivity")
    assert quieting.value == pytest.approx((50 - start) / slope, abs=1e-6)
    assert quieting.bound is None
    if start < 30:
        assert figure(capture_data, "usable_sensitivity").value == pytest.approx(
            (30 - start) / slope, abs=1e-6
        )


def test_distortion_counts_with_the_noise() -> None:
    """Distortion of 2 % leaves noise of 2.449 %: 32.2 dB, for 3.162 % together (30 dB)."""
    capture_data = table(
        {"distortion": "%"}, audio_level=np.zeros(len(DBF)), noise=-linear(2.0, 0.0),
        distortion=np.full(len(DBF), 2.0),
    )  # fmt: skip
    wanted = -10 * math.log10(1e-3 - 0.02**2) / 2
    usable = figure(capture_data, "usable_sensitivity")
    assert usable.value == pytest.approx(wanted, abs=0.1)
    assert abs(usable.value - wanted) <= 2 * usable.uncertainty


def test_volts_and_decibels_tell_the_same() -> None:
    snr = linear(2.0, 0.0, 70.0)
    volts = 0.5 * np.ones(len(DBF))
    by_volts = table({"audio_level": "V", "noise": "V"}, audio_level=volts,
                     noise=volts * 10 ** (-snr / 20))  # fmt: skip
    by_db = table(audio_level=np.zeros(len(DBF)), noise=-snr)
    for metric in ("quieting_sensitivity", "ultimate_snr"):
        assert figure(by_volts, metric).value == pytest.approx(figure(by_db, metric).value)


def test_a_dip_after_the_first_crossing_counts() -> None:
    """The ratio passes 50 dB at 25 dBf, falls back, and passes it for good at 41 dBf."""
    snr = np.interp(DBF, [0, 24, 28, 36, 40, 44, 80], [0, 48, 56, 45, 49, 53, 70])
    capture_data = table(audio_level=np.zeros(len(DBF)), noise=-snr)
    assert figure(capture_data, "quieting_sensitivity").value == pytest.approx(41.0)


def test_bounds_and_refusals() -> None:
    flat = np.zeros(len(DBF))
    quiet = table(audio_level=flat, noise=np.full(len(DBF), -60.0))
    least = figure(quiet, "quieting_sensitivity")
    assert (least.value, least.bound) == (0.0, "upper")
    hissing = table(audio_level=flat, noise=np.full(len(DBF), -40.0))
    noisy = findings(hissing)["quieting_sensitivity"]
    assert noisy.status == "rejected"
    assert "the best is 40 dB" in (noisy.reason or "")
    alone = findings(table(audio_level=flat))
    assert alone["quieting_sensitivity"].status == "not_applicable"
    mixed = findings(table({"audio_level": "W"}, audio_level=flat + 1, noise=flat - 60))
    assert mixed["ultimate_snr"].status == "rejected"


def test_ultimate_ratio_and_one_that_still_rises() -> None:
    flat = np.zeros(len(DBF))
    settled = figure(table(audio_level=flat, noise=-linear(2.0, 0.0, 71.5)), "ultimate_snr")
    assert (settled.value, settled.bound) == (71.5, None)
    rising = figure(table(audio_level=flat, noise=-linear(1.0, 0.0)), "ultimate_snr")
    assert (rising.value, rising.bound) == (80.0, "lower")


def test_separation_at_65_dbf() -> None:
    capture_data = table(audio_level=np.zeros(len(DBF)), separation=np.linspace(0, 40, len(DBF)))
    assert figure(capture_data, "stereo_separation").value == pytest.approx(32.5)


def test_rf_level_in_volts_needs_the_impedance() -> None:
    volts = np.sqrt(10 ** (DBF / 10) * 1e-15 * 300)
    columns = {"audio_level": np.zeros(len(DBF)), "noise": -linear(2.0, 0.0)}
    by_volts = table({"rf_level": "V"}, 300.0, **columns)
    assert by_volts.table is not None
    by_volts.table["rf_level"] = volts
    assert figure(by_volts, "quieting_sensitivity").value == pytest.approx(25.0)
    without = table({"rf_level": "V"}, **columns)
    assert "antenna_ohm" in (findings(without)["quieting_sensitivity"].reason or "")


def test_stereo_and_am_columns() -> None:
    flat = np.zeros(len(DBF))
    stereo = linear(1.5, -20.0, 62.0)
    seen = table(
        {"stereo_distortion": "%"}, audio_level=flat, noise=-linear(2.0, 0.0, 70.0),
        distortion=np.full(len(DBF), -60.0), stereo_audio_level=flat, stereo_noise=-stereo,
        stereo_distortion=np.full(len(DBF), 0.2), am_suppression=np.linspace(20, 60, len(DBF)),
    )  # fmt: skip
    assert figure(seen, "quieting_sensitivity_stereo").value == pytest.approx(70 / 1.5)
    assert figure(seen, "quieting_sensitivity").value == pytest.approx(25.0)
    assert figure(seen, "ultimate_snr_stereo").value == pytest.approx(62.0)
    assert figure(seen, "usable_sensitivity_stereo").value == pytest.approx(50 / 1.5, abs=0.05)
    assert figure(seen, "tuner_thd").value == pytest.approx(0.1)
    assert figure(seen, "tuner_thd_stereo").value == pytest.approx(0.2)
    assert figure(seen, "am_suppression").value == pytest.approx(20 + 40 * 65 / 80)
    without = findings(table(audio_level=flat, noise=flat - 60))
    for name in ("tuner_thd", "am_suppression", "ultimate_snr_stereo"):
        assert without[name].status == "not_applicable"


LEVELS = np.arange(-60.0, 101.0, 2.0)


def beside(**columns: np.ndarray) -> CaptureData:
    units = {"interferer_level": "dB", **dict.fromkeys(columns, "dB")}
    return CaptureData(
        Table(
            table="interference",
            columns={key: TableColumn(name=key, unit=u) for key, u in units.items()},
        ),
        Conditions(), {}, table={"interferer_level": LEVELS, **columns},
    )  # fmt: skip


@given(st.floats(0.5, 4.0), st.floats(20.0, 90.0))
@settings(max_examples=15, deadline=None)
def test_capture_ratio_and_selectivity_in_closed_form(ratio: float, selective: float) -> None:
    """Suppression that falls straight: from 30 dB to 1 dB within twice the capture ratio."""
    same = np.clip(30 - 29 * (LEVELS + 3 * ratio) / (2 * ratio), 0.0, 60.0)
    fine = np.interp(LEVELS, [-60, selective, 100], [selective + 90, 30.0, selective - 70])
    seen = beside(same_channel=same, alternate_channel=fine)
    assert figure(seen, "capture_ratio").value == pytest.approx(ratio, abs=1.1)
    assert figure(seen, "alternate_selectivity").value == pytest.approx(selective, abs=0.6)
    assert findings(seen)["image_rejection"].status == "not_applicable"


def test_an_interferer_that_never_disturbs_is_a_bound() -> None:
    seen = beside(image=np.full(len(LEVELS), 70.0), adjacent_channel=np.full(len(LEVELS), 20.0))
    image = figure(seen, "image_rejection")
    assert (image.value, image.bound) == (100.0, "lower")
    assert "below 30 dB" in (findings(seen)["adjacent_selectivity"].reason or "")
