"""The maker of captures does what its parameters say: closed forms on plain arrays."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Burst
from backbench.metrics.declaration import CaptureData
from backbench.seed_dataset import scenario, truth
from backbench.seed_dataset.behaviour import Behaviour
from backbench.seed_dataset.bench import ranges
from backbench.seed_dataset.burst import recovery_s
from backbench.seed_dataset.faults import behaviours
from backbench.seed_dataset.idle import Idle
from backbench.seed_dataset.plan import Take, takes
from backbench.seed_dataset.recording import record
from backbench.seed_dataset.rigs import RIGS
from backbench.seed_dataset.shelves import SETTINGS
from backbench.seed_dataset.sweep import Sweep
from backbench.seed_dataset.tone import Tone
from backbench.seed_dataset.transfer import Transfer, distortion
from tones import figures, track

Array = NDArray[np.float64]
TUBE, TRANSISTOR, PREAMPLIFIER = (
    "2019-09-halyard-20", "2018-04-drovergate-a1", "2024-04-saltwhistle-line",
)  # fmt: skip
CLASS_B = "2015-09-drovergate-p2"
ALL_KEYS = [
    review.key
    for review in scenario().reviews
    if review.units[0].kind not in RIGS and not review.is_typed
]


def _models(key: str) -> tuple[Behaviour, ...]:
    return behaviours(scenario().review(key))


def _played(key: str, hz: float, level: float, load: float, driven: tuple[bool, bool]) -> Array:
    """Noise-free terminal voltages, shape (2, n), of whole periods of the tone."""
    tone = Tone(hz, level, seconds=0.4)
    return np.stack(tone.outputs(_models(key), driven, load, 1.0))


def _phasor(volts: Array, hz: float, rate: float = 48_000) -> complex:
    time = np.arange(len(volts)) / rate
    return complex(2 * np.mean(volts * np.exp(-2j * np.pi * hz * time)))


def _recorded(key: str, take: Take) -> Array:
    """Terminal voltages with noise as the bench's calibration in force reads them."""
    review = scenario().review(key)
    made = record(review, _models(key), take, ranges(scenario(), review))
    scale = [made.calibration.volts[n] for n in range(1, made.words.shape[1] + 1)]
    return (made.words / 2**31 * scale).T


@pytest.mark.parametrize("key", [TUBE, TRANSISTOR])
@pytest.mark.parametrize("load", [4.0, 8.0])
def test_level_ratio_of_open_and_loaded_is_the_source_impedance(key: str, load: float) -> None:
    level = 0.01 / _models(key)[0].gain  # small enough for no distortion
    loaded = abs(_phasor(_played(key, 1000, level, load, (True, False))[0], 1000))
    unloaded = abs(_phasor(_played(key, 1000, level, math.inf, (True, False))[0], 1000))
    result = load * (unloaded / loaded - 1)
    assert result == pytest.approx(truth(key).outputs[0].source_impedance_ohm, rel=2e-4)


def test_crossover_does_not_pass_for_source_impedance() -> None:
    level = math.sqrt(8) / _models(CLASS_B)[0].gain_into(8.0)
    loaded = abs(_phasor(_played(CLASS_B, 1000, level, 8.0, (True, False))[0], 1000))
    unloaded = abs(_phasor(_played(CLASS_B, 1000, level, math.inf, (True, False))[0], 1000))
    result = 8 * (unloaded / loaded - 1)
    assert result == pytest.approx(truth(CLASS_B).outputs[0].source_impedance_ohm, rel=1e-3)


@pytest.mark.parametrize("key", [TUBE, TRANSISTOR, "2020-09-hollowreed-60"])
def test_small_signal_gain_imbalance_and_polarity_are_those_set(key: str) -> None:
    played = _played(key, 1000, 1e-4, 8.0, (True, True))
    sent = -1j * math.sqrt(2) * 1e-4
    gains = [_phasor(one, 1000) / sent for one in played]
    known = truth(key)
    for gain, output in zip(gains, known.outputs, strict=True):
        assert 20 * math.log10(abs(gain)) == pytest.approx(output.gain_db, abs=2e-3)
        assert math.copysign(1, gain.real) == output.polarity
    difference = 20 * math.log10(abs(gains[0]) / abs(gains[1]))
    assert difference == pytest.approx(known.imbalance_db, abs=2e-3)


@pytest.mark.parametrize("key", [TUBE, TRANSISTOR])
def test_a_leak_is_heard_at_the_undriven_output_and_rises_with_frequency(key: str) -> None:
    levels = []
    for hz in (1000.0, 4000.0):
        left, right = _played(key, hz, 0.02, 8.0, (True, False))
        levels.append(abs(_phasor(right, hz)) / abs(_phasor(left, hz)))
    assert levels[0] == pytest.approx(_models(key)[1].crosstalk, rel=1e-6)
    assert levels[1] / levels[0] == pytest.approx(4.0, rel=1e-6)


def test_a_mono_pair_does_not_leak() -> None:
    assert not _played("2024-09-glasswort-250", 1000, 0.1, 8.0, (True, False))[1].any()


@pytest.mark.parametrize("key", [TUBE, TRANSISTOR, PREAMPLIFIER])
def test_noise_of_a_recording_is_that_set_within_its_statistical_error(key: str) -> None:
    load = None if key == PREAMPLIFIER else 8.0
    volts = _recorded(key, Take("idle.flac", Idle(), load))
    for one, output in zip(volts, truth(key).outputs, strict=True):
        rate = len(one)  # one second
        power = np.abs(np.fft.rfft(one)) ** 2 * 2 / rate**2
        result = math.sqrt(power[20:20_001].sum())
        # Hiss: about 20,000 independent cells; the bench adds its own in the 0.5 V range.
        bench = 0.79 * 10 ** (-114 / 20)
        expected = math.hypot(output.noise_v, bench)
        assert result == pytest.approx(expected, rel=5 / math.sqrt(2 * 20_000))


@pytest.mark.parametrize("key", ALL_KEYS)
def test_the_power_steps_pass_one_percent(key: str) -> None:
    review, models = scenario().review(key), _models(key)
    levels = [
        take.stimulus.level_v
        for take in takes(review, models)
        if isinstance(take.stimulus, Tone) and take.file.startswith("tone-1k-")
    ]
    for model in models:
        load = math.inf if review.units[0].is_preamplifier else 8.0
        relative = math.sqrt(2) * max(levels) * model.gain / model.rail_v
        assert distortion(model.transfer.at(1000.0), relative, model.ceiling(load))[0] > 0.01


@pytest.mark.parametrize("key", [TUBE, TRANSISTOR])
def test_power_at_one_percent_is_where_the_captures_have_it(key: str) -> None:
    model, known = _models(key)[0], truth(key).outputs[0].power_at_1_percent_w
    assert known is not None
    result = []
    for share in (0.98, 1.02):
        level = math.sqrt(known * share * 8) / model.gain_into(8.0)
        low, high = level, level * 1.3
        for _ in range(30):  # compression: drive until the wanted power comes out
            middle = (low + high) / 2
            volts = _played(key, 1000, middle, 8.0, (True, False))[0]
            power = abs(_phasor(volts, 1000)) ** 2 / 16
            low, high = (middle, high) if power < known * share else (low, middle)
        volts = _played(key, 1000, low, 8.0, (True, False))[0]
        lines = [abs(_phasor(volts, 1000 * k)) for k in range(1, 11)]
        result.append(math.hypot(*lines[1:]) / lines[0])
    assert result[0] < 0.01 < result[1]


def test_distortion_grows_with_drive_into_clipping() -> None:
    model = _models(TRANSISTOR)[0]
    drives = [0.9, 1.0, 1.1, 1.3, 1.6, 2.0]
    thd = [distortion(model.transfer.at(1000.0), drive)[0] for drive in drives]
    assert thd == sorted(thd)
    assert thd[0] < 0.01
    assert thd[-1] > 0.1


def test_a_square_and_cubic_term_give_the_textbook_harmonics() -> None:
    """b x^2 and c x^3 on a sine A: second b A^2/2, third c A^3/4, first A + 3 c A^3/4."""
    transfer = Transfer(even=0.02, cubic=-0.01, fifth=0.0, knee=200.0)
    thd, first = distortion(transfer, 0.5)
    second, third = 0.02 * 0.25 / 2, 0.01 * 0.125 / 4
    assert first == pytest.approx(0.5 - 0.75 * 0.01 * 0.125, rel=1e-9)
    assert thd == pytest.approx(math.hypot(second, third) / first, rel=1e-9)


def test_crossover_weighs_most_at_low_power() -> None:
    transfer = Transfer(0.0, 0.0, 0.0, 24.0, crossover=0.02, crossover_width=0.02)
    thd = [distortion(transfer, drive)[0] for drive in (0.05, 0.2, 0.7)]
    assert thd == sorted(thd, reverse=True)


@pytest.mark.parametrize("key", [TUBE, TRANSISTOR])
@pytest.mark.parametrize("hz", [20.0, 100.0, 1000.0, 10_000.0, 20_000.0])
def test_a_sweep_has_the_response_of_its_roll_offs(key: str, hz: float) -> None:
    sweep, model = Sweep(1e-3), _models(key)[0]
    sent = sweep.generator(1.0)
    received = sweep.outputs((model,), (True,), 8.0, 1.0)[0]
    padded = 4 * len(sent)
    ratio = np.fft.rfft(received, padded) / np.fft.rfft(sent, padded)
    nearest = round(hz * padded / sweep.rate_hz)
    exact = np.array([nearest * sweep.rate_hz / padded])
    expected = abs(model.roll_off.whole(exact)[0]) * model.gain_into(8.0)
    assert abs(ratio[nearest]) == pytest.approx(expected, rel=2e-3)


def test_restoration_lowers_noise_and_imbalance() -> None:
    for before, after in (
        ("2013-11-gannetry-35", "2014-07-gannetry-35"),
        ("2019-09-halyard-20", "2020-04-halyard-20"),
        ("2020-09-hollowreed-60", "2021-04-hollowreed-60"),
    ):
        old, new = truth(before), truth(after)
        assert abs(new.imbalance_db) < abs(old.imbalance_db)
        assert all(n.noise_v < o.noise_v for n, o in zip(new.outputs, old.outputs, strict=True))


def test_faults_of_a_session_are_those_that_its_row_names() -> None:
    before, after = truth("2019-04-thimblefold-18"), truth("2023-12-thimblefold-18")
    assert after.outputs[0].low_3db_hz > 4 * before.outputs[0].low_3db_hz
    assert after.outputs[1].low_3db_hz == pytest.approx(before.outputs[1].low_3db_hz, rel=0.01)
    received, restored = truth("2022-02-quernstone-45"), truth("2022-09-quernstone-45")
    for old, new in zip(received.outputs, restored.outputs, strict=True):
        assert math.hypot(*new.mains_v) > 2 * math.hypot(*old.mains_v)
        assert new.hiss_v < old.hiss_v
    left, right = truth("2014-07-gannetry-35").outputs
    assert right.high_3db_hz < 0.6 * left.high_3db_hz


@pytest.mark.parametrize("key", ["2016-09-ironfeather-100", "2018-09-ashquill-3"])
def test_a_coil_raises_the_source_impedance_in_the_treble(key: str) -> None:
    """Closed form: both levels of a tone give the impedance as amplitude and phase."""
    model, level = _models(key)[0], 0.01
    for hz in (1000.0, 10_000.0):
        unloaded, loaded = (
            _phasor(_played(key, hz, level, load, (True, True))[0], hz) for load in (math.inf, 4.0)
        )
        found = abs(4.0 * (unloaded / loaded - 1))
        assert found == pytest.approx(
            math.hypot(model.source_ohm, 2 * math.pi * hz * model.coil_h), rel=2e-3
        )


def test_tone_controls_move_the_ends_more_than_1_khz() -> None:
    """Far from their corners the shelves are whole; within two octaves of 1 kHz they leave some."""
    for setting, shelves in SETTINGS.items():
        low, middle, high = np.abs(shelves.gain_at(np.array([1e-3, 1000.0, 1e8])))
        assert 20 * math.log10(low) == pytest.approx(shelves.bass_db, abs=1e-3), setting
        assert 20 * math.log10(high) == pytest.approx(shelves.treble_db, abs=1e-3), setting
        whole = abs(shelves.bass_db) + abs(shelves.treble_db)
        assert abs(20 * math.log10(middle)) < 0.25 * whole + 1e-9, setting


def test_a_recorded_tone_reads_its_level_through_the_calibration_in_force() -> None:
    for key in (TUBE, "2020-04-halyard-20"):
        model = _models(key)[0]
        level = 1.0 / model.gain_into(8.0)
        volts = _recorded(key, Take("level.flac", Tone(1000, level, seconds=0.4), 8.0))[0]
        clean = _played(key, 1000, level, 8.0, (True, True))[0]
        assert abs(_phasor(volts, 1000)) == pytest.approx(abs(_phasor(clean, 1000)), rel=1e-3)


def test_a_loop_back_carries_the_generator_on_both_tracks() -> None:
    volts = _recorded(TUBE, Take("loop.flac", Tone(1000, 1.0, seconds=0.4), None, loop_back=True))
    for one in volts:
        assert abs(_phasor(one, 1000)) == pytest.approx(math.sqrt(2), rel=1e-4)


def test_a_clipped_burst_is_recovered_from_in_the_time_that_was_set() -> None:
    review = next(one for one in scenario().reviews if "hard" in one.extras)
    take = next(t for t in takes(review, _models(review.key)) if t.file == "burst-overload.flac")
    volts = _recorded(review.key, take)
    stimulus = Burst(burst_hz=1000.0, on_ms=20.0, period_ms=500.0, generator_vrms=0.3)
    seen = figures(CaptureData(
        stimulus, outputs={1: track(volts[0], 48_000.0, full_scale_v=100.0)},
        conditions=Conditions(load_ohm=8.0),
        mains_hz=50.0,
    ))  # fmt: skip
    found = seen["overload_recovery"]
    assert found.bound is None
    # the limit is of the crest of the fundamental, a little above that of the clipped burst
    crest = np.sqrt(2) * seen["burst_level"].value / np.max(np.abs(volts[0]))
    assert abs(found.value - recovery_s(0.01 * crest)) < 3 * found.uncertainty
