"""Commands that look at a catalogue load nothing that measures, draws or makes frames."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.reports.export_formats import export
from backbench.storage.light_rows import LightRows
from faults.small_catalogue import set_calibration, small_catalogue, write_review

LOOKS = [
    "reviews", "show auk", "readings auk", "readings auk --metric thd", "query quietest-of-a-kind",
    "query captures-with-flags", "queries",
]  # fmt: skip
HEAVY = {
    "altair", "asyncio", "numpy", "polars", "prefect", "pydantic", "scipy", "soundfile",
    "backbench.metrics.registry",
}  # fmt: skip
CODE = """
import sys
from typer.testing import CliRunner
from backbench.cli import app
for words in sys.argv[2:]:
    done = CliRunner().invoke(app, [*words.split(), "-c", sys.argv[1]])
    assert done.exit_code == 0, done.output
    print(words, sorted(HEAVY & {*sys.modules}))
""".replace("HEAVY", repr(HEAVY))


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    root = tmp_path_factory.mktemp("looks")
    made = small_catalogue(root / "catalogue")
    write_review(root / "auk", 0)
    made.ingest([root / "auk"], history=False, processes=1)
    return made


def test_looking_loads_nothing_heavy(catalogue: Catalogue) -> None:
    home = str(catalogue.places.root)
    # Whatever reads the settings first keeps what they say of benches.
    assert CliRunner().invoke(app, ["reviews", "-c", home]).exit_code == 0
    ran = subprocess.run(
        [sys.executable, "-c", CODE, home, *LOOKS], capture_output=True, text=True, check=True
    )
    assert ran.stdout.splitlines() == [f"{words} []" for words in LOOKS]


def test_a_light_answer_is_shown_as_a_frame_is(
    catalogue: Catalogue, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of every fifth saved query; those with a trend beneath them have frames anyway."""
    light = 0
    with catalogue.reading():
        for name, saved in list(catalogue.queries().items())[::5]:
            shown = []
            for result in (catalogue.answer(name), catalogue.query(name)):
                light += isinstance(result, LightRows)
                export(result, "table", None, saved)
                shown.append(capsys.readouterr().out)
            assert shown[0] == shown[1], name
    assert light > 3


def test_what_settings_say_of_benches_is_kept_until_they_change(catalogue: Catalogue) -> None:
    assert not catalogue.stale().reviews
    before = (catalogue.places.root / "backbench.toml").read_text()
    set_calibration(catalogue, 30.1)
    assert "auk" in catalogue.stale().reviews
    assert "auk" in catalogue.stale().reviews
    (catalogue.places.root / "backbench.toml").write_text(before)
    assert not catalogue.stale().reviews


@pytest.mark.parametrize("content", [b"", b"[]", b'{"a": 1}', b"\xff", b"{"])
def test_a_damaged_file_of_kept_terms_is_made_anew(
    catalogue: Catalogue, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, content: bytes
) -> None:
    monkeypatch.setattr(
        "backbench.comparison.kept_terms.user_cache_path", lambda name: tmp_path / name
    )
    kept = tmp_path / "backbench" / "bench-terms.json"
    kept.parent.mkdir()
    kept.write_bytes(content)
    assert not catalogue.stale().reviews
    assert b"calibration" not in kept.read_bytes()
    assert b"volts" in kept.read_bytes()
