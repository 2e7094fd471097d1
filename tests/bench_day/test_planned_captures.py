"""The order and content of plans, new reviews, checks of a folder, and calibrations."""

from __future__ import annotations

import datetime as dt
import math
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from backbench.bench_day.amplifier_steps import SHARES
from backbench.bench_day.bench_limits import crest
from backbench.bench_day.calibrate import Known, calibrated, months_after
from backbench.bench_day.cautions import cautions
from backbench.bench_day.manifest_entries import Suggestion
from backbench.bench_day.measuring_chain import Chain, chain_of, expired
from backbench.bench_day.new_review import (
    ReviewDraft,
    begin,
    manifest_text,
    partner_of,
    serials_of,
)
from backbench.bench_day.plan import Wishes, make_plan, with_recorded
from backbench.bench_day.plan_text import page, rows
from backbench.bench_day.planned_capture import (
    PLAN_NAME,
    Plan,
    capture_table,
    capture_text,
    plan_text,
    read_plan,
)
from backbench.bench_day.session_check import Accepted, Checked, accept, check
from backbench.bench_day.stimuli_files import write_stimuli
from backbench.bench_day.stimuli_writing import Format
from backbench.documents.manifest import Manifest, read_manifest
from backbench.documents.settings import Settings
from backbench.documents.validation import checked, measures, parse_toml
from backbench.errors import UserError
from backbench.metrics.limit_brackets import limit_brackets
from backbench.metrics.session import Reading, Session
from bench_readings import reading

SETTINGS = """
[bench.garage]
load_uncertainty_percent = 0.5
generator_uncertainty_percent = 0.5
generator_range = "generator"
[[bench.garage.calibration]]
since = 2024-01-01
good_until = 2024-04-01
range = "50 V"
volts_peak_at_full_scale = { 1 = 60.0, 2 = 60.0 }
uncertainty_percent = 0.3
[[bench.garage.calibration]]
since = 2024-01-01
range = "5 V"
volts_peak_at_full_scale = { 1 = 6.0, 2 = 6.0 }
uncertainty_percent = 0.3
[[bench.garage.calibration]]
since = 2024-01-01
range = "generator"
volts_peak_at_full_scale = { 1 = 4.0 }
uncertainty_percent = 0.3
"""
FACTS = {
    "maker": "Marrowgate", "model": "Heron 40", "kind": "integrated amplifier",
    "technology": "tube", "state": "serviced", "rated_power_w": 20.0,
}  # fmt: skip


def settings() -> Settings:
    return checked(Settings, measures(parse_toml(SETTINGS.encode(), "backbench.toml")), "it")


def begun(**facts: object) -> ReviewDraft:
    return ReviewDraft(
        "2024-05-heron", dt.date(2024, 5, 11), "garage", 50.0, "heron-40", {**FACTS, **facts}
    )


def manifest(extra: str = "", **facts: object) -> Manifest:
    return read_manifest((manifest_text(begun(**facts)) + extra).encode())


def planned(
    extra: str = "", *, loads: tuple[float, ...] = (8.0, 4.0), rate_hz: float = 96_000.0,
    **facts: object,
) -> Plan:  # fmt: skip
    message = manifest(extra, **facts)
    return make_plan(
        message, chain_of(message, settings(), 26.0), Wishes(loads, rate_hz, gain_db=26.0)
    )


def test_a_begun_review_is_a_manifest_that_stands() -> None:
    result = manifest()
    assert result.unit[0].rated_power_w == 20
    assert [role.output for role in result.tracks.values()] == ["left", "right"]


def test_every_missing_fact_is_asked_for_at_once() -> None:
    with pytest.raises(UserError) as raised:
        manifest_text(begun(maker=None, technology=None))
    assert [fault.where for fault in raised.value.faults] == ["--maker", "--technology"]


def test_a_manifest_that_is_there_is_never_replaced(tmp_path: Path) -> None:
    begin(tmp_path, begun())
    with pytest.raises(UserError, match="a folder without one"):
        begin(tmp_path, begun())


def test_what_an_earlier_review_knew_comes_along() -> None:
    before = manifest(
        '\n[[unit.published]]\nmetric = "thd"\nat_most = "1 %"\nprinted_in = "manual"\n',
        serial="1234", made=1961,
    )  # fmt: skip
    later = ("b", dt.date(2025, 1, 1), "garage", 50.0)
    same = ReviewDraft(*later, "heron-40", {"state": "restored"}, before, True)
    text = manifest_text(same)
    assert 'serial = "1234"' in text
    assert 'at_most = "1 %"' in text
    assert 'state = "restored"' in text
    other = ReviewDraft(*later, "heron-41", {"state": "restored"}, before, False)
    assert 'serial = "1234"' not in manifest_text(other)


def pair(**own: object) -> ReviewDraft:
    """A mono pair begun: the keys, and what else is known."""
    return replace(begun(kind="power amplifier"), unit="m-left", partner="m-right", **own)


def test_a_mono_pair_is_two_units_on_two_tracks() -> None:
    result = read_manifest(manifest_text(pair(serials=("12", "13"))).encode())
    assert [(unit.key, unit.serial, unit.model) for unit in result.unit] == [
        ("m-left", "12", "Heron 40"), ("m-right", "13", "Heron 40"),
    ]  # fmt: skip
    assert {n: (role.unit, role.output) for n, role in result.tracks.items()} == {
        "1": ("m-left", "left"), "2": ("m-right", "right"),
    }  # fmt: skip
    again = pair(before=result, same_unit=True, facts={"state": "restored"})
    later = read_manifest(manifest_text(again).encode())
    assert [unit.serial for unit in later.unit] == ["12", "13"]
    assert later.tracks == result.tracks


def test_a_mono_pair_needs_an_output_and_a_serial_for_each() -> None:
    with pytest.raises(UserError, match="one for each unit"):
        manifest_text(pair(outputs=("left",)))
    with pytest.raises(UserError, match="one for each --unit"):
        serials_of(["12"], ["m-left", "m-right"])
    for keys in (["a", "b", "c"], ["a", "a"]):
        with pytest.raises(UserError, match="two different ones"):
            partner_of(keys)


def test_loop_backs_stand_in_the_ranges_and_at_the_levels_of_the_captures() -> None:
    made = planned(loads=(8.0,))
    alone = [step for step in made.step if step.loop_back]
    own = [step for step in made.step if not step.loop_back]
    assert {step.stimulus.kind for step in alone} == {"idle", "tone", "two tones", "sweep"}
    assert all(role.unit is None for step in alone for role in (step.tracks or {}).values())
    for step in own:
        if step.stimulus.kind not in {"tone", "two tones", "sweep"} or not step.out_vrms:
            continue
        like = [
            one.stimulus.generator_vrms for one in alone
            if one.conditions.range == step.conditions.range
            and one.stimulus.same_with_loop_back == step.stimulus.same_with_loop_back
        ]  # fmt: skip
        wanted = min(step.out_vrms, 4.0 / crest(step.stimulus))
        assert like, step.file
        assert min(like) <= 1.03 * wanted
        assert max(like) >= 0.98 * wanted
    assert any("4 V (peak)" in note and "ceiling" in note for note in made.notes)
    captures = "\n\n".join(capture_text(capture_table(step)) for step in alone)
    text = manifest_text(begun()).replace("# load_ohm = 8", 'load_ohm = 8\nrange = "5 V"')
    assert len(read_manifest(f"{text}\n{captures}\n".encode()).capture) == len(alone)


def test_every_sweep_has_the_file_that_was_played_for_it() -> None:
    references = [
        step.stimulus.reference_file for step in planned().step if step.stimulus.kind == "sweep"
    ]
    assert len(set(references)) == len(references) == 2


def test_no_loop_back_sweep_where_what_is_played_leaves_no_record() -> None:
    message, held = manifest(), chain_of(manifest(), settings(), 26.0)
    made = make_plan(message, replace(held, generator=None), Wishes((8.0,)))
    kinds = {step.stimulus.kind for step in made.step if step.loop_back}
    assert kinds == {"idle", "tone", "two tones"}


def test_low_power_comes_first_and_the_greatest_last() -> None:
    own = [step for step in planned(rate_hz=192_000.0).step if not step.loop_back]
    files = [step.file for step in own]
    stated = [step for step in own if step.stimulus.kind == "tone" and step.power_w]
    for together in (True, False):
        powers = [s.power_w for s in stated if (s.conditions.driven is None) == together]
        assert powers[-1] == max(p for p in powers if p) == 30
    assert files[0] == "idle.wav"
    squares = [n for n, file in enumerate(files) if file.startswith("square")]
    above_half = [n for n, step in enumerate(own) if (step.power_w or 0) > 10]
    assert max(squares) < min(above_half)
    assert all(n > files.index("sweep.wav") for n in squares)


def test_volts_and_levels_follow_from_power_load_and_gain() -> None:
    for step in planned().step:
        if step.power_w and step.stimulus.kind == "tone":
            load = step.conditions.load_ohm or 8.0
            assert step.out_vrms == pytest.approx((step.power_w * load) ** 0.5, rel=1e-3)
            level = step.out_vrms / 10 ** (26 / 20)
            assert step.stimulus.generator_vrms == pytest.approx(level, rel=6e-3)


def test_an_output_transformer_is_never_left_open() -> None:
    def loads(technology: str, given: tuple[float, ...]) -> set[object]:
        steps = planned(loads=given, technology=technology).step
        return {step.conditions.load_ohm for step in steps}

    assert "open" not in loads("tube", (8.0, 4.0)) | loads("hybrid", (8.0,))
    assert "open" in loads("solid state", (8.0,))
    assert any("must not run open" in note for note in planned(loads=(8.0,)).notes)


def test_a_published_figure_has_its_capture() -> None:
    plan = planned(
        '\n[[unit.published]]\nmetric = "thd"\nat = { frequency_hz = 50, power_w = 12, '
        'load_ohm = 16 }\nat_most = "1 %"\nprinted_in = "manual"\n'
    )
    (step,) = (one for one in plan.step if "published" in one.why)
    assert (step.stimulus.tone_hz, step.power_w, step.conditions.load_ohm) == (50, 12, 16)


def test_without_a_gain_levels_are_unknown_and_the_way_to_it_is_reported() -> None:
    message = manifest()
    plan = make_plan(message, chain_of(message, settings(), None), Wishes((8.0,)))
    first = next(step for step in plan.step if step.power_w)
    assert first.stimulus.generator_vrms == "unknown"
    assert any("--gain-db" in note for note in plan.notes)


def test_the_most_sensitive_range_with_headroom_is_taken() -> None:
    chain: Chain = chain_of(manifest(), settings(), 26.0)
    assert [chain.range_for(v) for v in (0.0, 4.7, 4.9, 1000.0)] == ["5 V", "5 V", "50 V", "50 V"]
    assert not chain.holds(1000.0)


@pytest.mark.parametrize(("kind", "expected"), [("preamplifier", 2.0), ("other", None)])
def test_other_kinds(kind: str, expected: float | None) -> None:
    if expected is None:
        with pytest.raises(UserError, match="no usual battery"):
            planned(kind=kind)
    else:
        levels = [step.out_vrms for step in planned(kind=kind, loads=()).step]
        assert expected in levels


def test_a_plan_reads_back_equal(tmp_path: Path) -> None:
    plan = planned()
    (tmp_path / PLAN_NAME).write_text(plan_text(plan))
    assert read_plan(tmp_path) == plan


def test_cautions_stand_on_terminal_and_paper() -> None:
    message = " ".join(cautions(manifest().unit))
    for word in ("high tension", "Discharge", "isolating transformer", "without its load",
                 "Bridged", "hot", "hearing", "local codes", "licensed"):  # fmt: skip
        assert word in message
    assert "output transformer" not in " ".join(cautions(manifest(technology="switching").unit))
    paper = page(planned(), manifest())
    assert "high tension" in paper
    assert paper.count("&#9744;") == len(planned().step) == len(rows(planned(), set()))


# Checks ---------------------------------------------------------------------------------------


def tone(path: Path, hz: float = 1000.0, peak: float = 0.5, rate: int = 48_000) -> None:
    time = np.arange(rate // 2) / rate
    one = peak * np.sin(2 * np.pi * hz * time)
    soundfile.write(path, np.stack([one, one], axis=1), rate, subtype="PCM_24")


CAPTURE = '\n[[capture]]\nfile = "{file}"\nstimulus = {stimulus}\n'
CONDITIONS = "load_ohm = 8\n"


def folder_with(root: Path, *captures: tuple[str, str]) -> Path:
    text = manifest_text(begun()).replace("# load_ohm = 8", 'load_ohm = 8\nrange = "5 V"')
    for file, stimulus in captures:
        text += CAPTURE.format(file=file, stimulus=stimulus)
    (root / "review.toml").write_text(text)
    return root


TONE = "{ tone_hz = 1000, generator_vrms = 0.1 }"


def test_all_faults_of_a_folder_are_reported_at_once(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, ("lost.wav", TONE), ("loud.wav", TONE), ("bad.wav", TONE))
    tone(folder / "loud.wav", peak=1.4)
    (folder / "bad.wav").write_bytes(b"RIFF\x00\x00\x00\x00WAVEgarbage")
    result = check(folder, settings())
    message = [*map(str, result.faults), *result.unsound]
    assert (len(message), result.sound) == (3, False)
    for words in ("no such file", "bit-identical", "damaged audio"):
        assert any(words in line for line in message), message


def test_a_capture_that_sounds_otherwise_is_a_fault(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, ("a.wav", TONE), ("b.wav", '{ idle = "input shorted" }'))
    tone(folder / "a.wav", hz=400.0)
    tone(folder / "b.wav")
    faults = [str(fault) for fault in check(folder, None).faults]
    assert ["(a.wav)" in faults[0], "(b.wav)" in faults[1], len(faults)] == [True, True, 2]
    assert "a tone of 400 Hz" in faults[0]


def test_a_level_far_from_the_plan_is_warned_of(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, ("tone-1k-1w-8ohm.wav", TONE))
    (folder / PLAN_NAME).write_text(plan_text(planned()))
    tone(folder / "tone-1k-1w-8ohm.wav", peak=0.3)
    assert any("1.27 V at the output; planned were 2.83 V" in w
               for w in check(folder, settings()).warnings)  # fmt: skip


def test_missing_captures_are_listed_with_their_level(tmp_path: Path) -> None:
    folder = folder_with(tmp_path)
    (folder / PLAN_NAME).write_text(plan_text(planned()))
    tone(folder / "tone-1k-1w-8ohm.flac")
    missing = [step.file for step in check(folder, settings()).missing]
    assert "tone-1k-1w-8ohm.wav" not in missing
    assert len(missing) == len(planned().step) - 1


def test_a_heard_file_is_suggested_and_accepted(tmp_path: Path) -> None:
    folder = folder_with(tmp_path)
    before = (folder / "review.toml").read_text()
    tone(folder / "unnamed.wav")
    soundfile.write(folder / "silent.wav", np.zeros((24_000, 2)), 48_000, subtype="PCM_24")
    result: Checked = check(folder, settings())
    assert [(s.file, s.source) for s in result.suggestions] == [
        ("unnamed.wav", "recognised: a tone of 1 kHz")
    ]
    assert [name for name, _ in result.unknown] == ["silent.wav"]
    assert accept(folder, result.suggestions) == Accepted(("unnamed.wav",), ())
    after = (folder / "review.toml").read_text()
    assert after.startswith(before.rstrip())
    assert read_manifest(after.encode()).capture[0].stimulus.tone_hz == 1000
    assert check(folder, settings()).suggestions == []


def test_an_entry_that_the_manifest_cant_take_costs_itself_alone(tmp_path: Path) -> None:
    """And the others are written as if each had been added by itself."""
    folder = folder_with(tmp_path)
    before = (folder / "review.toml").read_text()
    stimulus = {"tone_hz": 1000, "generator_vrms": 1.0}
    sound = [Suggestion(f"{n}.wav", {"file": f"{n}.wav", "stimulus": stimulus}, True, "")
             for n in range(3)]  # fmt: skip
    wrong = Suggestion("wrong.wav", {"file": "wrong.wav", "stimulus": {"tone_hz": -1}}, True, "")
    warned = replace(sound[0], file="warned.wav", warning="named after something else")
    done = accept(folder, [warned, sound[0], wrong, *sound[1:]])
    assert done.added == ("0.wav", "1.wav", "2.wav")
    assert [file for file, _ in done.left_out] == ["warned.wav", "wrong.wav"]
    apart = (folder / "review.toml").read_text()
    (folder / "review.toml").write_text(before)
    for one in sound:
        assert accept(folder, [one]) == Accepted((one.file,), ())
    assert (folder / "review.toml").read_text() == apart
    (folder / "review.toml").write_text(before)
    assert accept(folder, sound).left_out == ()
    assert (folder / "review.toml").read_text() == apart


def test_an_old_calibration_is_warned_of() -> None:
    (line,) = expired(manifest(), settings())
    assert "good until 2024-04-01" in line


# Calibration ----------------------------------------------------------------------------------


def known(**own: object) -> Known:
    return Known(**{"vrms": 2.0, "uncertainty_percent": 0.2, "since": dt.date(2024, 5, 1), **own})


def test_volts_at_full_scale_in_closed_form(tmp_path: Path) -> None:
    tone(tmp_path / "tone.wav", peak=0.5)
    result = calibrated(tmp_path / "tone.wav", known(range="5 V"), [])
    assert result.volts_peak_at_full_scale == pytest.approx(
        {"1": 2 * 2**0.5 * 2, "2": 2 * 2**0.5 * 2}, rel=1e-5
    )
    assert result.uncertainty_percent == pytest.approx(0.2, rel=1e-2)


@pytest.mark.parametrize(("peak", "message"), [(0.01, "too faint"), (0.0, "silence")])
def test_a_tone_that_is_no_good_is_refused(tmp_path: Path, peak: float, message: str) -> None:
    tone(tmp_path / "tone.wav", peak=peak)
    with pytest.raises(UserError, match=message):
        calibrated(tmp_path / "tone.wav", known(), [])


def test_months_end_within_the_month() -> None:
    assert months_after(dt.date(2024, 1, 31), 1) == dt.date(2024, 2, 29)
    assert months_after(dt.date(2024, 5, 1), 12) == dt.date(2025, 5, 1)


def test_sixty_captures_are_all_heard(tmp_path: Path) -> None:
    folder = folder_with(tmp_path)
    for n in range(60):
        tone(folder / f"take-{n:02}.wav", hz=100.0 + 10 * n)
    started = time.perf_counter()
    result = check(folder, settings())
    print(f"60 captures checked in {time.perf_counter() - started:.2f} s")
    assert len(result.suggestions) == 60


# A plan made again ----------------------------------------------------------------------------


def test_a_plan_made_again_keeps_what_was_recorded() -> None:
    """The gain is known better now: levels of steps to come change, those played stay."""
    message = manifest()
    first = make_plan(
        message, chain_of(message, settings(), 20.0), Wishes((8.0, 4.0), gain_db=20.0)
    )
    again = make_plan(message, chain_of(message, settings(), 26.0), Wishes((8.0,), gain_db=26.0))
    done = {"tone-1k-1w-8ohm", "tone-1k-4ohm"}
    before, after = ({step.stem: step for step in plan.step} for plan in (
        first, with_recorded(again, first, done)))  # fmt: skip
    assert all(after[stem] == before[stem] for stem in done)
    assert after["tone-20-1w-8ohm"].stimulus != before["tone-20-1w-8ohm"].stimulus
    assert len(after) == len(with_recorded(again, first, done).step)


def test_no_square_wave_is_planned_that_a_converter_cannot_record() -> None:
    files = [step.file for step in planned(rate_hz=192_000.0).step]
    files = [file for file in files if file.startswith("square-1")]
    assert files == ["square-1k.wav"]


@pytest.mark.parametrize("load", [None, 10_000.0, 47_000.0])
def test_output_impedance_of_a_line_stage_is_planned_from_two_loads(load: float | None) -> None:
    loads = () if load is None else (load,)
    made = planned(loads=loads, kind="preamplifier", rated_power_w=None)
    usual = manifest(kind="preamplifier", rated_power_w=None).conditions.load_ohm
    taken = {
        step.conditions.load_ohm or usual for step in made.step
        if getattr(step.stimulus, "tone_hz", None) == 997
        and not (step.conditions.driven or step.loop_back)
    }  # fmt: skip
    assert len(taken) == 2


def test_a_reference_that_may_have_been_played_stays(tmp_path: Path) -> None:
    folder = folder_with(tmp_path)
    whole, form = planned(), Format(96_000, 24)
    steps = [step for step in whole.step if step.file in ("sweep.wav", "tone-1k-1w-8ohm.wav")]
    assert len(steps) == 2
    made = whole.model_copy(update={"step": steps})
    written = write_stimuli(tmp_path / "waves", made, form, review=folder)
    assert written.plan == made
    before = (folder / "played-sweep.wav").read_bytes()
    again = write_stimuli(tmp_path / "waves", made, Format(96_000, 16), review=folder)
    assert (folder / "played-sweep.wav").read_bytes() == before
    (sweep,) = (step for step in again.plan.step if step.file == "sweep.wav")
    assert sweep.stimulus.reference_file == "played-sweep-2.wav"
    assert (folder / "played-sweep-2.wav").exists()
    same = write_stimuli(tmp_path / "waves", made, form, review=folder)
    assert (same.plan, same.kept) == (made, [])
    tone(folder / "sweep.wav")
    recorded = write_stimuli(tmp_path / "waves", made, Format(96_000, 32), review=folder)
    assert next(s for s in recorded.plan.step if s.file == "sweep.wav") == next(
        s for s in made.step if s.file == "sweep.wav"
    )


KNEE = (0.01, 0.01, 0.011, 0.012, 0.02, 2.0, 12.0, 25.0)
"""Distortion in percent at the plan's powers, of an amplifier that clips a little over 20 W."""


def measured_steps(percent: tuple[float, ...] = KNEE, rated_w: float = 20.0) -> list[Reading]:
    made = []
    for share, distortion in zip(SHARES, percent, strict=True):
        power = share * rated_w
        same = {"power_w": power, "generator_vrms": 0.1 * math.sqrt(power), "frequency_hz": 997.0}
        made.append(reading("output_power", power, 1e-3, 1e-4, **same))
        made.append(reading("thd_wide", distortion, 1e-3, 1e-3, **same))
    return made


def narrowed(readings: list[Reading]) -> Plan:
    message = manifest()
    brackets = tuple(limit_brackets(Session(readings)))
    wishes = Wishes((8.0,), gain_db=26.0, brackets=brackets)
    return make_plan(message, chain_of(message, settings(), 26.0), wishes)


def test_measured_steps_ask_for_those_that_narrow_a_power_at_a_limit() -> None:
    """Two or three powers inside each bracket, at generator levels between the steps' own."""
    made = narrowed(measured_steps())
    asked = [step for step in made.step if step.why.startswith("narrows") and not step.loop_back]
    assert 4 <= len(asked) <= 12
    assert all(20.0 < (step.power_w or 0) < 26.0 for step in asked)
    for step in asked:
        level = 0.1 * math.sqrt(step.power_w or 0)
        assert step.stimulus.generator_vrms == pytest.approx(level, rel=0.01)
        assert step.stimulus.tone_hz == 997.0
    assert len({step.stem for step in made.step}) == len(made.step)
    assert any("power at 1 % distortion is known from" in note for note in made.notes)


def test_a_narrow_bracket_and_a_review_that_was_not_measured_ask_for_nothing() -> None:
    straight = tuple(0.0002 * (share * 20) ** 3 for share in SHARES)
    for readings in ([], measured_steps(straight)):
        assert not any(step.why.startswith("narrows") for step in narrowed(readings).step)
