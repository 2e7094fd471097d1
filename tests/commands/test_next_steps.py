"""The line of what comes next is a command that does what it names, typed as it stands."""

from __future__ import annotations

import os
import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

from backbench.cli import app
from backbench.commands.common import CATALOGUE_VARIABLE
from backbench.commands.next_steps import next_step

HERE, OTHER = Path("."), Path("/my catalogues/other")


@pytest.mark.parametrize(
    ("variable", "catalogue", "named"),
    [
        (None, None, False), (None, HERE, False), (None, OTHER, True),
        (str(OTHER), OTHER, False), (str(OTHER), HERE, True), ("", HERE, False),
    ],
)  # fmt: skip
def test_a_catalogue_is_named_where_the_command_would_take_another(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
    variable: str | None, catalogue: Path | None, named: bool,
) -> None:  # fmt: skip
    monkeypatch.delenv(CATALOGUE_VARIABLE, raising=False)
    if variable is not None:
        monkeypatch.setitem(os.environ, CATALOGUE_VARIABLE, variable)
    next_step("show heron", catalogue=catalogue)
    words = shlex.split(capsys.readouterr().out)
    where = ["-c", str(catalogue)] if named else []
    assert words == ["Next:", "backbench", "show", "heron", *where]


def test_a_review_without_any_capture_is_planned_before_it_is_ingested(tmp_path: Path) -> None:
    (tmp_path / "review.toml").write_text(
        '[review]\nkey = "heron"\ndate = 2024-05-11\nbench = "garage"\nmains_hz = 50\n\n'
        '[[unit]]\nkey = "heron-40"\nmaker = "Marrowgate"\nmodel = "Heron 40"\n'
        'kind = "receiver"\ntechnology = "tube"\nstate = "serviced"\n'
    )
    ran = CliRunner().invoke(app, ["check", str(tmp_path)])
    assert ran.exit_code == 0, ran.output
    assert f"Next: backbench plan {tmp_path}" in ran.output
