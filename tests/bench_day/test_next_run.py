"""The run that is to be cut next: the first whose captures the review lacks."""

from __future__ import annotations

from pathlib import Path

from backbench.bench_day.run_files import next_run

LAYOUT = """\
name = "{name}"
end_marker_s = 9
[[segment]]
file = "{file}"
marker_s = 0
from_s = 1
to_s = 8
"""


def test_the_next_run_is_the_first_that_is_not_cut(tmp_path: Path) -> None:
    waves, review = tmp_path / "waves", tmp_path / "review"
    waves.mkdir()
    review.mkdir()
    for name, file in (("run-a", "one.wav"), ("run-b", "two.wav")):
        (waves / f"{name}.toml").write_text(LAYOUT.format(name=name, file=file))
    (waves / "notes.toml").write_text("levels = 3\n")
    assert next_run(waves, review) == waves / "run-a.toml"
    (review / "one.flac").touch()
    assert next_run(waves, review) == waves / "run-b.toml"
    (review / "two.wav").touch()
    assert next_run(waves, review) is None
