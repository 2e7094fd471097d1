"""Commands that compare: compare, pair, promises, before-after, trend, drift."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.common import (
    COMPARE,
    HERE,
    Format,
    Home,
    Out,
    Wide,
    app,
    opened,
    show_frame,
)
from backbench.commands.next_steps import next_step, word
from backbench.errors import MISSING, Fault, UserError
from backbench.quantities.sentences import sentence

if TYPE_CHECKING:
    import polars as pl

    from backbench.catalogue import Catalogue

NOT_MET = 4
"""Exit code of --check: a specification is not met, or a bench has drifted."""

NEEDED_OF_PROMISES = ("label", "title", "specified", "outcome", "margin_db")

SIDE = "A unit's key, a review's key, UNIT@REVIEW, or UNIT@STATE for its newest in that state."


@app.command(rich_help_panel=COMPARE)
def compare(
    unit: Annotated[str, typer.Argument(help="A unit's key.")],
    catalogue: Home = HERE,
    peers: Annotated[
        list[str] | None,
        typer.Option(
            help="Peers share this column (technology, decade) or column=value. May be repeated; "
            "'everything' takes all units."
        ),
    ] = None,
    without_entered: Annotated[
        bool,
        typer.Option("--without-entered", help="Leave out readings typed in from old records."),
    ] = False,
    everything: Annotated[
        bool,
        typer.Option(
            "--all",
            help="Also every quantity, nearest and similar units, audibility, both sides, method.",
        ),
    ] = False,
    out_format: Format = "table",
    out: Out = None,
    wide: Wide = False,
    check: Annotated[
        bool, typer.Option("--check", help="Exit with code 4 if a specification is not met.")
    ] = False,
) -> None:
    """Compare a unit with its specifications and its peers, metric by metric.

    Example: backbench compare heron-40-left
    """
    from backbench.reports.comparison_report import show_comparison

    plain = out_format == "table" and out is None
    comparison = opened(catalogue).compare(
        unit, peers=peers, include_entered=not without_entered, heard=everything and plain
    )
    if plain:
        show_comparison(comparison, everything=everything)
        reviewed = word(comparison.review_key)
        next_step(f"readings {reviewed}", f"sheet {reviewed}", catalogue=catalogue)
    else:
        show_frame(comparison.frame(), out_format, out)
    if check and any(verdict.outcome == "fails" for verdict in comparison.verdicts):
        raise typer.Exit(NOT_MET)


@app.command(rich_help_panel=COMPARE)
def pair(
    first: Annotated[str, typer.Argument(help=SIDE)],
    second: Annotated[str, typer.Argument(help="The other side.")],
    catalogue: Home = HERE,
    everything: Annotated[
        bool, typer.Option("--all", help="Every quantity at every test point.")
    ] = False,
    out_format: Format = "table",
    out: Out = None,
    wide: Wide = False,
) -> None:
    """Compare two units, reviews or states: their differences, the most significant first.

    Example: backbench pair m30-l m30-r
    """
    from backbench.comparison.chosen_sides import in_its_review, side
    from backbench.comparison.compared_sides import two_units
    from backbench.comparison.differences import frame_of
    from backbench.reports.terminal_reports import show_pair

    home = opened(catalogue)
    with home.reading() as store:
        differences = two_units(store, first, second)
        reviews = [in_its_review(store, side(store, text)).review_key for text in (first, second)]
    if out_format == "table" and out is None:
        show_pair(f"First {first}, second {second}", differences, everything=everything)
        _show_stale(home, reviews)
    else:
        show_frame(frame_of(differences), out_format, out)


@app.command(rich_help_panel=COMPARE)
def promises(
    unit: Annotated[str, typer.Argument(help="A unit's key; every unit without one.")] = "",
    catalogue: Home = HERE,
    picture: Annotated[
        Path | None,
        typer.Option(help="Draw every specification beside what was measured (.html, .svg, .png)."),
    ] = None,
    out_format: Format = "table",
    out: Out = None,
    wide: Wide = False,
) -> None:
    """Hold a unit against what makers promised of others of its class, or all against their own.

    The promises are those of the `[[specification]]` of backbench.toml and those that reviews of
    other units state. Without a unit, every unit is held against its own specifications.

    Example: backbench promises heron-40-left
    """
    if not unit or picture:
        _own_promises(catalogue, unit, picture, out_format, out)
        return
    from backbench.comparison.class_promises import class_promises, frame_of_promises
    from backbench.reports.comparison_report import show_promises

    home = opened(catalogue)
    with home.reading() as store:
        held = class_promises(store, home.settings.specification, unit)
    if out_format != "table" or out is not None:
        show_frame(frame_of_promises(held), out_format, out)
    elif held:
        show_promises(unit, held)
    else:
        typer.echo(
            "No promise of another model of its class is known: add a [[specification]] to "
            "backbench.toml."
        )


def _own_promises(
    catalogue: Path, unit: str, picture: Path | None, out_format: str, out: Path | None
) -> None:
    """Every unit beside its own specifications, as a table or a picture with one of them marked."""
    from backbench.comparison.catalogue_promises import catalogue_promises

    home = opened(catalogue)
    with home.reading() as store:
        frame = catalogue_promises(store, unit)
    if picture is None:
        show_frame(frame, out_format, out, needed=NEEDED_OF_PROMISES)
        return
    from backbench.charts.image_export import save
    from backbench.charts.promises import promises_chart

    save(promises_chart(frame, unit), picture)
    typer.echo(f"Wrote {picture}.")


@app.command("before-after", rich_help_panel=COMPARE)
def before_after(
    unit: Annotated[str, typer.Argument(help="A unit's key.")],
    catalogue: Home = HERE,
    before: Annotated[
        str | None, typer.Option(help="The review before the work. Default: the first as received.")
    ] = None,
    after: Annotated[
        str | None, typer.Option(help="The review after it. Default: the newest in another state.")
    ] = None,
    everything: Annotated[
        bool, typer.Option("--all", help="Also quantities that say nearly the same as another.")
    ] = False,
    out_format: Format = "table",
    out: Out = None,
    wide: Wide = False,
) -> None:
    """Compare a unit before and after work, at equal conditions.

    Example: backbench before-after heron-40-left
    """
    from backbench.comparison.differences import frame_of
    from backbench.comparison.work_comparison import work_comparison
    from backbench.reports.work_report import show_work

    home = opened(catalogue)
    with home.reading() as store:
        work = work_comparison(store, unit, (before, after))
    if out_format == "table" and out is None:
        show_work(work, everything=everything)
        _show_stale(home, (work.before, work.after))
    else:
        show_frame(frame_of(work.differences), out_format, out)


def _show_stale(home: Catalogue, reviews: Iterable[str | None]) -> None:
    """Which of the reviews have figures that are out of date, and the command that mends it."""
    stale = home.stale()
    for review in dict.fromkeys(reviews):
        if review and (text := stale.sentence(review)):
            typer.echo(sentence(text))


def _stale_units(home: Catalogue, frame: pl.DataFrame) -> str:
    """Of how many units of an answer figures are out of date."""
    from backbench.comparison.stale_figures import of_answer

    stale = home.stale()
    with home.reading() as store:
        return of_answer(store, stale, frame)


@app.command(rich_help_panel=COMPARE)
def trend(
    y: Annotated[str | None, typer.Argument(help="A metric, or a property of units.")] = None,
    x: Annotated[str | None, typer.Argument(help="The quantity that Y may depend on.")] = None,
    catalogue: Home = HERE,
    within: Annotated[str, typer.Option(help="The column that groups the units.")] = "technology",
    screen: Annotated[
        str | None, typer.Option(help="In place of Y and X: screen every metric against this.")
    ] = None,
    by_group: Annotated[
        bool,
        typer.Option("--by-group", help="In a file: a row a group, not a row a unit."),
    ] = False,
    out_format: Format = "table",
    out: Out = None,
    wide: Wide = False,
) -> None:
    """Test one quantity for a trend against another, over all units and within groups.

    Example: backbench trend channel_balance age

    Y and X: a metric (thd, power_at_limit/1, harmonic/3, thd@tone-1khz-5w-8ohm) or one of age,
    made_year, reviewed_year, rated_power_w, price_today. Every metric at once: backbench trend
    --screen age
    """
    from backbench.comparison.regression import screening
    from backbench.errors import Refusal
    from backbench.reports.terminal_reports import show_against, show_screening

    plain, home = out_format == "table" and out is None, opened(catalogue)
    if screen is not None:
        with home.reading() as store:
            many = screening(store, screen, within)
        show_screening(many) if plain else show_frame(many.frame(), out_format, out)
        return
    if y is None or x is None:
        fault = Fault("trend", MISSING, "Y and X, or --screen X")
        raise UserError("no trend can be given", [fault])
    try:
        relation = home.trend(y, x, within=within)
    except Refusal as refusal:
        fault = Fault(f"{y} over {x}", str(refusal), "units that have both")
        raise UserError("no trend can be given", [fault]) from None
    if plain:
        show_against(relation)
        if note := _stale_units(home, relation.frame()):
            typer.echo(sentence(note))
    else:
        rows = relation.group_frame() if by_group else relation.frame()
        show_frame(rows, out_format, out)


@app.command(rich_help_panel=COMPARE)
def drift(
    bench: Annotated[str, typer.Argument(help="A bench's key.")],
    catalogue: Home = HERE,
    unit: Annotated[
        str | None, typer.Option(help="Use this repeatedly measured unit in place of loop-backs.")
    ] = None,
    check: Annotated[
        bool, typer.Option("--check", help="Exit with code 4 if a step is flagged.")
    ] = False,
    out_format: Format = "table",
    out: Out = None,
    wide: Wide = False,
) -> None:
    """Test whether a bench has drifted, by a control chart of its loop-backs.

    Example: backbench drift garage
    """
    from backbench.comparison.drift import events, of_unit, over_time, value_frame
    from backbench.querying.saved_queries import not_found
    from backbench.reports.terminal_reports import show_drift

    with opened(catalogue).reading() as store:
        known = [str(key) for (key,) in store.rows("SELECT bench_key FROM bench ORDER BY 1")]
        if bench not in known:
            raise UserError("the bench is not known", [not_found("bench", bench, known, "bench")])
        series = of_unit(store, unit) if unit else over_time(store)
        done = events(store, bench)
    of_bench = [one for one in series if one.bench_key == bench]
    if out_format == "table" and out is None:
        show_drift(bench, of_bench, done)
    else:
        show_frame(value_frame(of_bench), out_format, out)
    if check and any(one.steps() for one in of_bench if not one.name.startswith("calibration")):
        raise typer.Exit(NOT_MET)
