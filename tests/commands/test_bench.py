"""`init` and `bench` ask on a terminal for what backbench.toml needs; elsewhere options do."""

from __future__ import annotations

from pathlib import Path

from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from talk import Talk

OPTIONS = [
    "--load-uncertainty-percent", "0.5 %", "--generator-uncertainty-percent", "1",
    "--generator-range", "generator",
]  # fmt: skip


def test_init_asks_for_the_bench_with_its_generator(tmp_path: Path) -> None:
    home = tmp_path / "home"
    talk = Talk("init", home)
    talk.answer("Describe your bench now?", "y\n")
    talk.answer("Your key for the bench", "garage\n")
    talk.answer("dummy load", "half\n")
    talk.answer("dummy load", "0.5 %\n")
    talk.answer("stated level", "1\n")
    talk.answer("plays files", "generator\n")
    assert talk.end() == 0, talk.text
    assert "calibrate TONE.wav" in talk.text
    assert "--range '5 V' --save" in talk.text
    bench = Catalogue(home).settings.bench["garage"]
    assert (bench.load_uncertainty_percent, bench.generator_uncertainty_percent) == (0.5, 1.0)
    assert bench.generator_range == "generator"


def test_options_do_the_same_off_a_terminal(tmp_path: Path) -> None:
    Catalogue.create(tmp_path / "home")
    ran = CliRunner().invoke(app, ["bench", "garage", *OPTIONS, "-c", str(tmp_path / "home")])
    assert ran.exit_code == 0, ran.output
    assert "--range generator --save" in ran.output
    settings = Catalogue(tmp_path / "home").settings
    assert settings.bench["garage"].generator_uncertainty_percent == 1.0
    assert (tmp_path / "home" / "backbench.toml").read_text().startswith("# Settings")


def test_all_that_is_missing_is_listed_at_once(tmp_path: Path) -> None:
    Catalogue.create(tmp_path / "home")
    before = (tmp_path / "home" / "backbench.toml").read_text()
    ran = CliRunner().invoke(app, ["bench", "-c", str(tmp_path / "home")])
    faults = [fault.where for fault in ran.exception.faults]  # type: ignore[union-attr]
    assert faults == [
        "the bench's key", "--load-uncertainty-percent", "--generator-uncertainty-percent",
    ]  # fmt: skip
    assert (tmp_path / "home" / "backbench.toml").read_text() == before


def test_a_bench_that_is_there_is_never_changed(tmp_path: Path) -> None:
    Catalogue.create(tmp_path / "home")
    words = ["bench", "garage", *OPTIONS, "-c", str(tmp_path / "home")]
    CliRunner().invoke(app, words)
    ran = CliRunner().invoke(app, words)
    (fault,) = ran.exception.faults  # type: ignore[union-attr]
    assert "described already" in fault.found


def test_what_was_typed_is_printed_when_it_is_broken_off(tmp_path: Path) -> None:
    home = tmp_path / "home"
    talk = Talk("init", home)
    talk.answer("Describe your bench now?", "\n")
    talk.answer("Your key for the bench [bench]: ", "garage\n")
    talk.answer("dummy load", "\n")
    talk.until("an answer is needed here")
    talk.answer("dummy load", "0.5 %\n")
    talk.answer("stated level", "\x04")
    talk.until("No bench was written. What you entered, as a command:")
    assert talk.end() == 130
    line = talk.text.strip().splitlines()[-1].strip()
    assert line == f"backbench bench garage --load-uncertainty-percent 0.5 -c {home}"
