"""Options with a unit: written with it or bare, and refused in words where they are not clear."""

from __future__ import annotations

from typing import Annotated

import pytest
import typer
from typer.testing import CliRunner

from backbench.commands.quantity_options import quantity
from backbench.errors import UserError

app = typer.Typer()


@app.command()
def shown(
    load: Annotated[list[float], quantity("--load", "ohm", "A load.", least=0.1)],
    rate: Annotated[float, quantity("--rate", "Hz", "The rate.", least=2, most=768_000)] = 96_000,
    power: Annotated[float | None, quantity("--power", "W", "The power.")] = None,
) -> None:
    """Show what was read."""
    typer.echo(f"{load} {rate} {power}")


def ran(*words: str) -> str:
    done = CliRunner().invoke(app, list(words), catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output.strip()


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["--load", "8", "--load", "4 ohm"], "[8.0, 4.0] 96000.0 None"),
        (["--load", "4R7", "--rate", "48 kHz"], "[4.7] 48000.0 None"),
        (["--load", "16 Ω", "--power", "1,5 W"], "[16.0] 96000.0 1.5"),
        (["--load", "0.6 kohm", "--power", "500 mW"], "[600.0] 96000.0 0.5"),
    ],
)
def test_a_number_with_its_unit_or_a_bare_one(words: list[str], expected: str) -> None:
    assert ran(*words) == expected


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--load", "8", "--power", "1,000 W"], "--power: .*write 1 W or 1000 W"),
        (["--load", "8 W"], "--load: .*a unit 'W' that can't be turned into 'ohm'"),
        (["--load", "0.01"], "--load: found '0.01'; expected a number in ohm, at least 0.1 ohm"),
        (["--load", "8", "--rate", "1 MHz"], "--rate: .*at least 2 Hz and at most 768000 Hz"),
        (["--load", "eight"], "--load: found 'eight', which is no quantity"),
        (["--load", "< 8 ohm"], "--load: .*is a bound.*write the value alone"),
    ],
)
def test_what_is_not_clear_is_refused(words: list[str], message: str) -> None:
    with pytest.raises(UserError, match=message):
        ran(*words)


def test_the_help_states_the_unit() -> None:
    assert "<number in ohm>" in ran("--help")
