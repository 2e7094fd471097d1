"""A tuner under a modulated carrier: residues and de-emphasis of known size, in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import bilinear, lfilter

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import FmTone
from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.findings import Finding
from backbench.metrics.fm_tone import deemphasis_error
from backbench.metrics.measurement import measure
from backbench.metrics.session import Derived, Reading, RefusedDerivation, Session
from backbench.signal.track import Array, Track

RATE = 96_000.0
T = np.arange(int(5.5 * RATE)) / RATE


def output(hz: float = 1000.0, pilot_db: float = -45.0, noise: float = 1e-5) -> Array:
    """A tone of 0.5 V rms, the pilot and 6 dB less of the subcarrier, noise."""
    pilot = 10 ** (pilot_db / 20)
    wave = np.sin(2 * np.pi * hz * T) + pilot * np.sin(2 * np.pi * 19_000.4 * T + 1)
    wave += pilot / 2 * np.sin(2 * np.pi * 38_000.8 * T)
    return np.asarray(0.5 * math.sqrt(2) * wave + np.random.default_rng(3).normal(0, noise, len(T)))


def findings(volts: Array, rate: float = RATE, **stated: float) -> dict[str, Finding]:
    stimulus = FmTone(**{"fm_tone_hz": 1000.0, "deviation_hz": 75e3, "pilot_hz": 19e3, **stated})
    taken = CaptureData(stimulus, Conditions(), {1: Track(volts, rate, 2.0, 0.002)})
    return {f.metric.name: f for f in measure(taken)[0]}


def figure(found: dict[str, Finding], name: str) -> MeasuredValue:
    value = found[name].figure
    assert value is not None, found[name].reason
    return value


@pytest.mark.parametrize("db", [-30.0, -60.0])
def test_pilot_and_subcarrier_of_known_level(db: float) -> None:
    found = findings(output(pilot_db=db))
    assert figure(found, "pilot_residue").value == pytest.approx(db, abs=0.05)
    assert figure(found, "subcarrier_residue").value == pytest.approx(db - 6.02, abs=0.05)
    level = figure(found, "fm_level")
    assert abs(level.value - 0.5) <= 3 * level.uncertainty


def test_an_independent_reference_of_the_residue() -> None:
    """numpy's projection on the line itself, at its own frequency."""
    volts = output(pilot_db=-50.0, noise=1e-4)
    line = 2 * abs(np.mean(volts * np.exp(-2j * np.pi * 19_000.4 * T)))
    wanted = 20 * math.log10(line / math.sqrt(2) / 0.5)
    assert figure(findings(volts), "pilot_residue").value == pytest.approx(wanted, abs=0.1)


def test_twice_the_output_has_the_same_residue() -> None:
    one, two = (figure(findings(k * output()), "pilot_residue").value for k in (1.0, 0.5))
    assert one == pytest.approx(two, abs=1e-6)


def test_no_residue_is_a_bound_and_no_pilot_no_figure() -> None:
    clean = figure(findings(output(pilot_db=-160.0, noise=1e-4)), "pilot_residue")
    assert clean.bound == "upper"
    assert clean.value < -75
    sent_none = findings(output(), pilot_hz=None)  # type: ignore[arg-type]
    assert sent_none["pilot_residue"].status == "not_applicable"
    slow = findings(output()[::2], RATE / 2)
    assert "doesn't reach 38 kHz" in (slow["subcarrier_residue"].reason or "")
    short = findings(output()[: int(RATE)])
    assert "too short" in (short["pilot_residue"].reason or "")


def undone(hz: float, constant_s: float) -> Reading:
    """The reading of a tone through a tuner with one pole of 48 us, 50 us stated."""
    b, a = bilinear([1.0], [48e-6, 1.0], RATE * 4)
    t = np.arange(int(0.2 * RATE * 4)) / (RATE * 4)
    passed = lfilter(b, a, np.sin(2 * np.pi * hz * t))[-int(0.1 * RATE * 4) :]
    level = math.sqrt(2) * passed.std() * math.hypot(1, 2 * math.pi * hz * constant_s)
    return Reading(
        key=f"{hz}", metric="fm_level_undone", unit_key="u", output="left", status="measured",
        value=level, uncertainty=1e-3 * level, estimation=1e-4 * level, dof=9.0, bound=None,
        stimulus="fm tone", frequency_hz=hz, detail={"de-emphasis": "50 µs"},
    )  # fmt: skip


def test_deemphasis_of_48_where_50_is_stated() -> None:
    session = Session([undone(hz, 50e-6) for hz in (1000.0, 10_000.0)])
    (given,) = deemphasis_error.derive(session)  # type: ignore[misc]
    assert isinstance(given, Derived)

    def db(hz: float, constant: float) -> float:
        return -20 * math.log10(math.hypot(1, 2 * math.pi * hz * constant))

    wanted = (db(1e4, 48e-6) - db(1e4, 50e-6)) - (db(1e3, 48e-6) - db(1e3, 50e-6))
    assert given.figure.value == pytest.approx(wanted, abs=0.02)
    assert given.figure.frequency_hz == 10_000.0
    (refused,) = deemphasis_error.derive(Session([undone(1e4, 50e-6)]))  # type: ignore[misc]
    assert isinstance(refused, RefusedDerivation)
    assert "1 kHz" in refused.reason


def test_golden() -> None:
    found = findings(output(noise=2e-4), deemphasis_s=50e-6)
    values = {
        name: round(figure(found, name).value, 4)
        for name in ("fm_level", "fm_level_undone", "pilot_residue", "subcarrier_residue")
    }
    assert values == {
        "fm_level": 0.5, "fm_level_undone": 0.5241,
        "pilot_residue": -45.0017, "subcarrier_residue": -51.0248,
    }  # fmt: skip
