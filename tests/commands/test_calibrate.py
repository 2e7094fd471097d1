"""`calibrate` asks on a terminal for what is missing; elsewhere it lists it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner, Result

from backbench.catalogue import Catalogue
from backbench.cli import app

RATE = 48_000
SETTINGS = """
[bench.{key}]
load_uncertainty_percent = 0.5
generator_uncertainty_percent = 0.5
generator_range = "generator"
"""


def tone(folder: Path) -> Path:
    path = folder / "tone.wav"
    samples = 0.5 * np.sin(2 * np.pi * 997 * np.arange(2 * RATE) / RATE)
    soundfile.write(path, np.stack([samples] * 2, axis=1), RATE, subtype="PCM_24")
    return path


def home_with(folder: Path, *benches: str) -> Path:
    Catalogue.create(folder / "home", "".join(SETTINGS.format(key=key) for key in benches))
    return folder / "home"


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Result]:
    """The command as on a terminal, with what is typed."""

    def typed(*words: object, answers: Sequence[str]) -> Result:
        monkeypatch.setattr("backbench.commands.calibrate.on_terminal", lambda: True)
        return CliRunner().invoke(app, ["calibrate", *map(str, words)], input="\n".join(answers))

    return typed


def test_what_is_missing_is_asked_for_and_the_entry_added(
    tmp_path: Path, asked: Callable[..., Result]
) -> None:
    home = home_with(tmp_path, "garage", "loft")
    answers = ["two", "2004 mV", "0.2", "garge", "", "5 V", ""]
    ran = asked(tone(tmp_path), "-c", home, answers=[*answers, ""])
    assert ran.exit_code == 0, ran.output
    for question in ("calibrated meter", "of the meter", "'garge': is 'garage' meant?",
                     "there are: generator", "Add it to backbench.toml?"):  # fmt: skip
        assert question in ran.output
    (entry,) = Catalogue(home).settings.bench["garage"].calibration
    assert entry.range == "5 V"
    assert entry.volts_peak_at_full_scale["1"] == pytest.approx(2.004 * 2**0.5 / 0.5, rel=1e-4)
    assert entry.uncertainty_percent == pytest.approx(0.2, abs=0.01)
    assert "Next: backbench new" in ran.output


def test_what_was_typed_is_printed_when_it_is_broken_off(
    tmp_path: Path, asked: Callable[..., Result]
) -> None:
    home = home_with(tmp_path, "garage")
    ran = asked(tone(tmp_path), "--volts", "2.004", "-c", home, answers=["0.2"])
    assert ran.exit_code == 130
    assert "The bench is garage." in ran.output
    line = ran.output.strip().splitlines()[-1].strip()
    assert line == (
        f"backbench calibrate {tmp_path / 'tone.wav'} --volts 2.004 "
        f"--meter-uncertainty-percent 0.2 --bench garage -c {home}"
    )
    assert Catalogue(home).settings.bench["garage"].calibration == []


def test_off_a_terminal_all_that_is_missing_is_listed_at_once(tmp_path: Path) -> None:
    home = home_with(tmp_path, "garage")
    ran = CliRunner().invoke(app, ["calibrate", str(tone(tmp_path)), "-c", str(home)])
    faults = ran.exception.faults  # type: ignore[union-attr]
    assert [fault.where for fault in faults] == [
        "--volts", "--meter-uncertainty-percent", "--bench",
    ]  # fmt: skip
    assert "garage" in faults[2].expected


def test_a_bench_that_is_not_described_is_refused_before_anything_is_worked_out(
    tmp_path: Path,
) -> None:
    home = home_with(tmp_path, "garage")
    words = ["calibrate", "no-such.wav", "--volts", "2", "--meter-uncertainty-percent", "0.2"]
    ran = CliRunner().invoke(app, [*words, "--bench", "garag", "-c", str(home)])
    (fault,) = ran.exception.faults  # type: ignore[union-attr]
    assert "did you mean garage?" in str(fault)


def test_the_command_that_would_add_the_entry_is_printed_whole(tmp_path: Path) -> None:
    home = home_with(tmp_path, "garage")
    words = ["--volts", "2 V", "--meter-uncertainty-percent", "0.2", "--bench", "garage",
             "--range", "5 V", "--track", "2", "--date", "2024-05-11"]  # fmt: skip
    ran = CliRunner().invoke(app, ["calibrate", str(tone(tmp_path)), *words, "-c", str(home)])
    assert ran.exit_code == 0, ran.output
    line = ran.output.strip().splitlines()[-1]
    assert "--range '5 V' --date 2024-05-11 --track 2 --save" in line
    assert Catalogue(home).settings.bench["garage"].calibration == []
