"""Commands of the program, run in this process."""

from __future__ import annotations

from pathlib import Path

from typer.testing import CliRunner, Result

from backbench.cli import app


def run(*words: str | Path, codes: tuple[int, ...] = (0,)) -> Result:
    ran = CliRunner().invoke(app, [str(word) for word in words])
    if ran.exception and not isinstance(ran.exception, SystemExit):
        raise ran.exception
    assert ran.exit_code in codes, ran.output
    return ran
