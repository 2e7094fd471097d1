"""Plans hold what bench, rate and kind of unit can give, and stay as they were played."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner

from backbench.bench_day.bench_limits import top_hz
from backbench.bench_day.cut_run import cut_run, follow_run
from backbench.bench_day.measuring_chain import Chain, chain_of
from backbench.bench_day.new_review import ReviewDraft, manifest_text
from backbench.bench_day.plan import Wishes, make_plan, nominal_load
from backbench.bench_day.planned_capture import PLAN_NAME, Plan, plan_text, read_plan
from backbench.bench_day.record_length import record_s
from backbench.bench_day.run_files import read_run
from backbench.bench_day.stimuli_files import write_stimuli
from backbench.bench_day.stimuli_writing import Format
from backbench.bench_day.stimulus_waveforms import BAND
from backbench.cli import app
from backbench.documents.manifest import Manifest, read_manifest
from backbench.documents.settings import Settings
from backbench.documents.stimuli import Idle, Tone, TwoTones
from backbench.documents.validation import checked, measures, parse_toml
from backbench.errors import UserError
from backbench.signal.mains_neighbours import OFF_NOMINAL

RANGES = "".join(
    f'[[bench.garage.calibration]]\nsince = 2024-01-01\nrange = "{name}"\n'
    f"volts_peak_at_full_scale = {{ 1 = {volts}, 2 = {volts} }}\nuncertainty_percent = 0.3\n"
    for name, volts in (("5 V", 6.0), ("50 V", 60.0), ("generator", 4.0))
)
BENCH = (
    "[bench.garage]\nload_uncertainty_percent = 0.5\ngenerator_uncertainty_percent = 0.5\n"
    f'generator_range = "generator"\n{RANGES}'
)
RATES = (44_100.0, 48_000.0, 96_000.0, 192_000.0)


def settings() -> Settings:
    return checked(Settings, measures(parse_toml(BENCH.encode(), "backbench.toml")), "it")


def manifest(
    kind: str, *, outputs: tuple[str, ...] = ("left", "right"), edit: str = ""
) -> Manifest:
    facts = {
        "maker": "Marrowgate", "model": "Heron 40", "kind": kind, "technology": "solid state",
        "state": "serviced", "rated_power_w": 20.0 if "amplifier" in kind else None,
    }  # fmt: skip
    draft = ReviewDraft(
        "2024-05-heron", dt.date(2024, 5, 11), "garage", 50.0, "heron-40", facts, outputs=outputs
    )
    return read_manifest(
        manifest_text(draft).replace("[conditions]", f"[conditions]\n{edit}").encode()
    )


def plan_of(
    message: Manifest, rate_hz: float = 96_000.0, gain_db: float | None = 26.0,
    loads: tuple[float, ...] = (), chain: Chain | None = None,
) -> Plan:  # fmt: skip
    held = chain or chain_of(message, settings(), gain_db)
    return make_plan(message, held, Wishes(loads, rate_hz, gain_db))


def frequencies(plan: Plan) -> list[list[float]]:
    return [step.stimulus.frequencies for step in plan.step if step.played is not None]


def squares_at(rate_hz: float) -> bool:
    return rate_hz >= 192_000


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("kind", ["integrated amplifier", "preamplifier", "tuner"])
def test_nothing_is_planned_that_the_rate_cannot_record(
    tmp_path: Path, kind: str, rate: float
) -> None:
    loads = (8.0, 4.0) if "amplifier" in kind and kind != "preamplifier" else ()
    made = plan_of(manifest(kind), rate, loads=loads)
    for step in made.step:
        if isinstance(step.stimulus, Tone):
            assert 3 * step.stimulus.tone_hz <= top_hz(rate)
        assert step.stimulus.kind != "square" or squares_at(rate)
        if step.played is not None:
            assert max(step.played.frequencies) <= BAND * rate
    if rate == min(RATES) or (kind == "preamplifier" and squares_at(rate)):
        # Of the samples themselves at the lowest rate, and once with squares.
        assert write_stimuli(tmp_path, made, Format(round(rate), 16), dry=True).left_out == []
    squares = [step.file for step in made.step if step.stimulus.kind == "square"]
    told_of = [note for note in made.notes if "square-1k.wav" in note]
    assert bool(squares) != bool(told_of) or kind == "tuner"


def test_planned_tones_are_clear_of_both_mains_systems() -> None:
    """Of the second and third harmonic, and of the products, no mains line is within a lobe."""
    made = plan_of(manifest("integrated amplifier"), loads=(8.0, 4.0))
    tones = {step.stimulus.tone_hz for step in made.step if isinstance(step.stimulus, Tone)}
    assert tones == {997.0, 23.0}
    for step in made.step:
        stimulus = step.stimulus
        if isinstance(stimulus, Tone):
            lines = [2 * stimulus.tone_hz, 3 * stimulus.tone_hz]
        elif isinstance(stimulus, TwoTones) and stimulus.ratio == 4:
            low, high = stimulus.tones_hz
            lines = [high + k * low for k in (-2, -1, 1, 2)]
        else:
            continue
        for mains in (50.0, 60.0):
            for line in lines:
                away = abs(line - max(round(line / mains), 1) * mains) - OFF_NOMINAL * line
                assert away * (step.record_s or 0) > 7.5, (step.file, mains, line)


def test_the_plan_states_how_long_to_record() -> None:
    assert record_s(Tone(tone_hz=997.0, generator_vrms=1.0)) == 4
    assert record_s(Tone(tone_hz=23.0, generator_vrms=1.0)) == 3
    assert record_s(TwoTones(tones_hz=[66.0, 7050.0], ratio=4.0, generator_vrms=1.0)) == 5
    assert record_s(Idle(idle="input shorted")) == 10


def test_a_published_figure_at_20_hz_keeps_its_own_frequency() -> None:
    """A transformer does less at 23 Hz, so that a promise at 20 Hz is held there."""
    text = manifest_text(ReviewDraft(
        "2024-05-heron", dt.date(2024, 5, 11), "garage", 50.0, "heron-40",
        {"maker": "Marrowgate", "model": "Heron 40", "kind": "power amplifier",
         "technology": "tube", "state": "serviced", "rated_power_w": 20.0},
    ))  # fmt: skip
    for hz in (20, 1000):
        text += (
            f'\n[[unit.published]]\nmetric = "thd"\nat = {{ frequency_hz = {hz}, power_w = 12, '
            'load_ohm = 8 }\nat_most = "1 %"\nprinted_in = "manual"\n'
        )
    made = plan_of(read_manifest(text.encode()), loads=(8.0, 4.0))
    promised = [step.stimulus.tone_hz for step in made.step if "published" in step.why]
    assert sorted(promised) == [20.0, 997.0]


def test_a_mono_unit_has_nothing_between_channels() -> None:
    made = plan_of(manifest("power amplifier", outputs=("left",)), loads=(8.0, 4.0))
    assert not any(step.conditions.driven for step in made.step)
    assert not any("balance" in step.why for step in made.step)


def test_a_tuner_is_planned_from_a_modulated_carrier() -> None:
    made = plan_of(manifest("tuner"), gain_db=None)
    own = [step for step in made.step if not step.loop_back]
    assert all(getattr(step.stimulus, "generator_vrms", "unknown") == "unknown" for step in own)
    together = [step for step in own if step.stimulus.kind == "tone" and not step.conditions.driven]
    assert max(step.stimulus.tone_hz for step in together) * 3 <= 15_000
    assert any("interference table" in note for note in made.notes)
    assert any("tuner table" in note for note in made.notes)
    assert not any("--gain-db" in note for note in made.notes)


@pytest.mark.parametrize(("name", "level"), [("phono mm", 5e-3), ("phono mc", 5e-4)])
def test_a_phono_stage_is_planned_by_its_input_and_along_the_curve(name: str, level: float) -> None:
    """Replay curve: + 19.3 dB at 20 Hz and - 19.6 dB at 20 kHz re 1 kHz (IEC 60098)."""
    message = manifest("preamplifier", edit=f'input = "{name}"')
    made = {step.file: step for step in plan_of(message, 192_000.0, 40.0).step}
    assert made["tone-1k.wav"].stimulus.generator_vrms == pytest.approx(level)
    sweep = made["sweep.wav"].stimulus
    assert sweep.generator_vrms == pytest.approx(level * 10 ** (-19.27 / 20), rel=5e-3)
    high = made["tone-20k.wav"].stimulus.generator_vrms
    assert high == pytest.approx(level * 10 ** (19.62 / 20), rel=5e-3)
    assert made["tone-20k.wav"].out_vrms == pytest.approx(made["tone-1k.wav"].out_vrms, rel=1e-2)
    loads = {step.conditions.load_ohm for step in made.values() if not step.loop_back}
    assert loads == {"open", 10_000.0}


def test_what_the_generator_or_the_ranges_cannot_give_is_left_out_with_the_reason() -> None:
    message = manifest("integrated amplifier")
    weak = plan_of(message, gain_db=14.0, loads=(8.0, 4.0))
    assert any("generator reaches no more than 4 V" in note for note in weak.notes)
    assert all((step.stimulus.generator_vrms or 0) <= 2.83
               for step in weak.step if isinstance(step.stimulus, Tone))  # fmt: skip
    chain = chain_of(message, settings(), 26.0)
    narrow = plan_of(message, loads=(8.0, 4.0), chain=replace(chain, ranges=chain.ranges[:1]))
    assert any("no input range holds" in note for note in narrow.notes)
    assert all((step.out_vrms or 0) < 6 for step in narrow.step)


def test_loads_that_are_one_tell_no_impedance() -> None:
    made = plan_of(manifest("integrated amplifier"), loads=(8.0, 8.0, 8.2, 4.0))
    taken = {step.conditions.load_ohm for step in made.step if not step.loop_back}
    assert taken == {"open", 8.0, 4.0}


def test_levels_into_another_load_come_from_the_gain_into_that_load() -> None:
    message = manifest("integrated amplifier", edit="load_ohm = 8")
    chain = chain_of(message, settings(), 26.0, {4.0: 20.0})
    assert chain.level(2.0, 8.0) == pytest.approx(2 / 10 ** (26 / 20), rel=5e-3)
    assert chain.level(2.0, 4.0) == pytest.approx(0.2, rel=5e-3)
    assert nominal_load(message, ()) == 8.0
    assert nominal_load(message, (4.0,)) == 4.0
    assert nominal_load(manifest("preamplifier"), ()) == "open"


# What was played ------------------------------------------------------------------------------


def begun(tmp_path: Path, gain_db: float = 26.0) -> tuple[Path, Plan]:
    """A review folder with its plan, and the runs written."""
    review = tmp_path / "review"
    review.mkdir(exist_ok=True)
    message = manifest("preamplifier")
    made = plan_of(message, gain_db=gain_db)
    steps = [step for step in made.step if step.file in {"tone-1k-1v.wav", "sweep.wav"}]
    made = made.model_copy(update={"step": steps})
    written = write_stimuli(tmp_path / "waves", made, Format(96_000, 16), review=review)
    (review / PLAN_NAME).write_text(plan_text(written.plan))
    return review, written.plan


def recorded(tmp_path: Path, run: str) -> Path:
    """A run as the recorder took it."""
    samples, rate = soundfile.read(tmp_path / "waves" / f"{run}.wav")
    late = np.concatenate([np.zeros(rate // 5), samples])
    soundfile.write(tmp_path / "recorded.wav", np.stack([late, late], axis=1), rate, "PCM_24")
    return tmp_path / "recorded.wav"


def test_planning_again_before_the_run_is_cut_changes_nothing_that_was_played(
    tmp_path: Path,
) -> None:
    review, played = begun(tmp_path)
    (layout,) = (tmp_path / "waves").glob("run-*.toml")
    before = {
        path: path.read_bytes()
        for path in (layout, layout.with_suffix(".wav"), review / "played-sweep.wav")
    }
    take = recorded(tmp_path, layout.stem)
    _, changed = begun(tmp_path, gain_db=20.0)
    assert {step.stimulus.generator_vrms for step in changed.step} != {
        step.stimulus.generator_vrms for step in played.step
    }
    assert {path: path.read_bytes() for path in before} == before
    assert layout.with_name(f"{layout.stem}-2.toml").exists()
    run = read_run(layout)
    cut_run(take, run, review)
    assert follow_run(run, review) == []
    assert read_plan(review).step == played.step  # type: ignore[union-attr]


def test_a_cut_that_breaks_off_leaves_no_part_of_a_capture(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    review, _ = begun(tmp_path)
    (layout,) = (tmp_path / "waves").glob("run-*.toml")
    take, before = recorded(tmp_path, layout.stem), set(review.rglob("*"))
    monkeypatch.setenv("BACKBENCH_FAULT", "flush:1:ENOSPC")
    monkeypatch.setattr("backbench.storage.fault_injection.passed", Counter())
    with pytest.raises(OSError, match="No space"):
        cut_run(take, read_run(layout), review)
    assert set(review.rglob("*")) == before


def test_a_mistyped_folder_is_not_made_for_a_cut(tmp_path: Path) -> None:
    begun(tmp_path)
    (layout,) = (tmp_path / "waves").glob("run-*.toml")
    mistyped = tmp_path / "mistyped"
    ran = CliRunner().invoke(
        app, ["cut", str(recorded(tmp_path, layout.stem)), str(layout), str(mistyped)]
    )
    assert isinstance(ran.exception, UserError)
    assert ran.exception.faults[0].where == str(mistyped)
    assert not mistyped.exists()


def test_a_manifest_that_says_otherwise_than_was_played_is_reported_of(tmp_path: Path) -> None:
    review, played = begun(tmp_path)
    text = (
        '[[capture]]\nfile = "tone-1k-1v.wav"\nstimulus = { tone_hz = 997, generator_vrms = 9 }\n'
    )
    draft = ReviewDraft(
        "r", dt.date(2024, 5, 11), "garage", 50.0, "u",
        {"maker": "M", "model": "m", "kind": "preamplifier", "technology": "tube",
         "state": "serviced"},
    )  # fmt: skip
    (review / "review.toml").write_text(f"{manifest_text(draft)}\n{text}")
    (layout,) = (tmp_path / "waves").glob("run-*.toml")
    (line,) = follow_run(read_run(layout), review)
    assert "generator_vrms = 0.0501" in line
    assert played.step
    faulty = '[[capture]]\nfile = "b.wav"\nstimulus = { tone_hz = -1, generator_vrms = 9 }\n'
    (review / "review.toml").write_text(f"{manifest_text(draft)}\n{faulty}\n{text}")
    assert follow_run(read_run(layout), review) == [line], "a faulty entry costs itself alone"


def test_a_run_holds_what_is_not_recorded_yet(tmp_path: Path) -> None:
    review, played = begun(tmp_path)
    (layout,) = (tmp_path / "waves").glob("run-*.toml")
    soundfile.write(review / "sweep.wav", np.zeros(100), 48_000)
    written = write_stimuli(tmp_path / "waves", played, Format(96_000, 16), review=review)
    assert layout in [path.with_suffix(".toml") for path in written.kept]
    fresh = read_run(layout.with_name(f"{layout.stem}-2.toml"))
    assert [one.file for one in fresh.segment] == ["tone-1k-1v.wav"]
