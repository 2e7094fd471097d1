"""The command that works out a calibration: calibrate."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.answers import choose, on_terminal, quantity_answer
from backbench.commands.common import HERE, SET_UP, Home, app, opened
from backbench.commands.next_steps import next_step
from backbench.commands.quantity_options import quantity
from backbench.errors import Fault, UserError

if TYPE_CHECKING:
    from backbench.bench_day.calibration_request import CalibrationRequest
    from backbench.documents.settings import Calibration, Settings

VOLTS = "Rms voltage of the tone on a calibrated meter, in V"
METER = "Standard uncertainty (k = 1) of the meter, in %"
Date = Annotated[str | None, typer.Option(help="Date, such as 2024-05-11. Default: today.")]


@app.command(rich_help_panel=SET_UP)
def calibrate(
    recording: Annotated[Path, typer.Argument(help="A recorded steady tone.")],
    volts: Annotated[
        float | None,
        quantity(
            "--volts", "V", 'Rms voltage of the tone on a calibrated meter, such as "2.004 V".'
        ),
    ] = None,
    meter_uncertainty_percent: Annotated[
        float | None,
        quantity(
            "--meter-uncertainty-percent",
            "%",
            'Standard uncertainty (k = 1) of the meter, such as "0.2 %".',
            least=0,
            most=100,
        ),
    ] = None,
    bench: Annotated[str | None, typer.Option(help="A bench described in backbench.toml.")] = None,
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

    The entry is shown; --save adds it to backbench.toml. On a terminal you are asked for what is
    missing.

    Example: backbench calibrate tone.wav --volts 2.004 --meter-uncertainty-percent 0.2
    --bench garage --range "5 V" --save -c my-catalogue
    """
    from backbench.bench_day.calibrate import entry_text, saved
    from backbench.bench_day.calibration_request import CalibrationRequest

    home = opened(catalogue)
    request = CalibrationRequest(
        recording, catalogue, volts, meter_uncertainty_percent, bench,
        input_range=input_range, since=date, tracks=tuple(track or ()),
        good_for_months=good_for_months, save=save,
    )  # fmt: skip
    asking = on_terminal()
    if asking:
        request = completed(request, home.settings)
    request.check(home.settings)
    calibration = _worked_out(request)
    typer.echo(entry_text(str(request.bench), calibration))
    if not (save or (asking and typer.confirm("Add it to backbench.toml?", default=True))):
        again = replace(request, save=True).command_line()
        typer.echo(f"Nothing was written. To add it to backbench.toml:\n  {again}")
        return
    with home.places.changing():
        path = saved(home.places.root, str(request.bench), calibration, home.settings)
    typer.echo(f"Added to {path}.")
    if home.places.ledger.newest():
        next_step("recompute", catalogue=catalogue)
    else:
        next_step("new REVIEW-FOLDER", catalogue=catalogue)


def _worked_out(request: CalibrationRequest) -> Calibration:
    """The calibration of a request that lacks nothing."""
    from backbench.bench_day.calibrate import Known, calibrated, months_after

    assert request.volts is not None
    assert request.meter_percent is not None
    since = date_of(request.since)
    months = request.good_for_months
    until = months_after(since, months) if months else None
    known = Known(request.volts, request.meter_percent, since, request.input_range, until)
    return calibrated(request.recording, known, request.tracks)


def completed(request: CalibrationRequest, settings: Settings) -> CalibrationRequest:
    """The request with the answers to what was missing; printed where they break off."""
    answers = request
    try:
        if answers.volts is None:
            answers = replace(answers, volts=quantity_answer(VOLTS, "V"))
        if answers.meter_percent is None:
            answers = replace(answers, meter_percent=quantity_answer(METER, "%"))
        if answers.bench is None and settings.bench:
            answers = replace(answers, bench=_bench_answer(sorted(settings.bench)))
        if answers.input_range is None and answers.bench in settings.bench:
            lacking = request.volts is None or request.meter_percent is None
            answers = replace(answers, input_range=_range_answer(answers, settings, lacking))
    except typer.Abort:
        typer.echo("\nNothing was written. What you entered, as a command:\n"
                   f"  {answers.command_line()}")  # fmt: skip
        raise typer.Exit(130) from None
    return answers


def _bench_answer(benches: list[str]) -> str:
    """The bench, which is not asked for where there is only one."""
    if len(benches) == 1:
        typer.echo(f"The bench is {benches[0]}.")
        return benches[0]
    return choose("The bench", benches)


def _range_answer(request: CalibrationRequest, settings: Settings, lacking: bool) -> str | None:
    """The input range. Not asked for where none has a name yet and nothing else was missing."""
    from backbench.bench_day.calibration_request import known_ranges

    names = known_ranges(settings, str(request.bench))
    if not (names or lacking):
        return None
    there = f"; there are: {', '.join(names)}" if names else ', such as "5 V"'
    question = f"Your name for the input range{there} (Enter alone: the bench has only one)"
    return str(typer.prompt(question, default="", show_default=False)).strip() or None


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
