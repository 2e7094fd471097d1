"""A command line without its arguments is answered in plain words, with an example."""

from __future__ import annotations

import pytest
import typer

from backbench.cli import app
from commands_run import run

WHOLE = typer.main.get_command(app)
ASKING = [
    name
    for name, command in sorted(WHOLE.commands.items())  # type: ignore[attr-defined]
    if any(p.param_type_name == "argument" and p.required for p in command.params)
]


@pytest.mark.parametrize("command", ASKING)
def test_every_command_that_needs_an_argument_says_so_with_an_example(command: str) -> None:
    output = " ".join(run(command, codes=(2,)).output.split())
    assert f"`backbench {command}` can't do without " in output
    assert f"For example: backbench {command} " in output
    assert "Missing argument" not in output


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["compare"], "without unit (a unit's key). `backbench reviews` lists what there is. "
                      "For example: backbench compare heron-40-left"),
        (["chart"], "without name (a saved query that has a chart); out (a file ending in .html, "
                    ".svg or .png). `backbench queries` lists what there is."),
        (["chart", "quietest-of-a-kind"], "can't do without out (a file"),
        (["pair", "one"], "can't do without second (the other side)."),
    ],
)  # fmt: skip
def test_what_is_missing_is_named_with_what_lists_it(words: list[str], said: str) -> None:
    assert said in " ".join(run(*words, codes=(2,)).output.split())


def test_other_faults_of_the_command_line_stay() -> None:
    assert "No such option" in run("compare", "--nothing", codes=(2,)).output
    assert "Missing" not in run("compare", "--help").output
