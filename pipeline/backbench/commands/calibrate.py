"""The command that works out a calibration: calibrate."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated

import typer

from backbench.commands.common import HERE, SET_UP, Home, app, opened
from backbench.commands.next_steps import next_step
from backbench.commands.quantity_options import quantity
from backbench.errors import Fault, UserError

Date = Annotated[str | None, typer.Option(help="Date, such as 2024-05-11. Default: today.")]


@app.command(rich_help_panel=SET_UP)
def calibrate(
    recording: Annotated[Path, typer.Argument(help="A recorded steady tone.")],
    volts: Annotated[
        float,
        quantity(
            "--volts", "V", 'Rms voltage of the tone on a calibrated meter, such as "2.004 V".'
        ),
    ],
    meter_uncertainty_percent: Annotated[
        float,
        quantity(
            "--meter-uncertainty-percent",
            "%",
            'Standard uncertainty (k = 1) of the meter, such as "0.2 %".',
            least=0,
            most=100,
        ),
    ],
    bench: Annotated[str, typer.Option(help="A bench described in backbench.toml.")],
    catalogue: Home = HERE,
    date: Date = None,
    input_range: Annotated[
        str | None,
        typer.Option("--range", help="The input range. Leave out where the bench has only one."),
    ] = None,
    track: Annotated[
        list[int] | None,
        typer.Option(help="A track that carries the tone. May be repeated. Default: all."),
    ] = None,
    good_for_months: Annotated[
        int | None,
        typer.Option(
            min=1, max=600, help="Warn when the calibration is older than this many months."
        ),
    ] = None,
    save: Annotated[
        bool, typer.Option("--save", help="Add the calibration to backbench.toml.")
    ] = False,
) -> None:
    """Work out volts at digital full scale from a recorded tone of known level.

    The entry is shown; --save adds it to backbench.toml.

    Example: backbench calibrate tone.wav --volts 2.004 --meter-uncertainty-percent 0.2
    --bench garage --range "5 V" --save -c my-catalogue
    """
    from backbench.bench_day.calibrate import Known, calibrated, entry_text, months_after, saved

    home = opened(catalogue)
    since = date_of(date)
    until = months_after(since, good_for_months) if good_for_months else None
    known = Known(volts, meter_uncertainty_percent, since, input_range, until)
    calibration = calibrated(recording, known, track or [])
    typer.echo(entry_text(bench, calibration))
    if not save:
        typer.echo("Nothing was written: the same command with --save adds it to backbench.toml.")
        return
    with home.places.changing():
        path = saved(home.places.root, bench, calibration, home.settings)
    typer.echo(f"Added to {path}.")
    if home.places.ledger.newest():
        next_step("recompute", catalogue=catalogue)
    else:
        next_step("new REVIEW-FOLDER", catalogue=catalogue)


def date_of(text: str | None) -> dt.date:
    """An option as a date; today where there is none. Raises UserError."""
    from backbench.quantities.days import EXPECTED, how_to_write

    if text is None:
        return dt.date.today()
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        fault = Fault("--date", repr(text), EXPECTED, how_to_write(text))
        raise UserError("the date can't be read", [fault]) from None
