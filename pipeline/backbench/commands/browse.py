"""Commands that look: reviews, show, queries, query, chart, metrics."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.common import (
    BROWSE,
    HERE,
    PARTLY_DONE,
    Format,
    Home,
    Settings,
    Wide,
    app,
    assigned,
    opened,
    report_faulty_queries,
    show_frame,
)
from backbench.commands.next_steps import next_step, offer_recompute, word
from backbench.errors import Fault, UserError, did_you_mean
from backbench.quantities.counts import counted

if TYPE_CHECKING:
    from backbench.charts.drawing import Size as ImageSize
    from backbench.storage.database import Database


@app.command(rich_help_panel=BROWSE)
def reviews(
    catalogue: Home = HERE,
    tag: Annotated[str, typer.Option(help="Only reviews of a unit with this tag.")] = "",
    out_format: Format = "table",
    wide: Wide = False,
) -> None:
    """List the reviews with how their captures ended: whole, partly refused, refused, failed.

    Example: backbench reviews -c my-catalogue
    """
    from backbench.storage.light_rows import LightRows

    home, chosen = opened(catalogue), {"tag": tag.strip().lower()}
    with home.reading() as store:
        plain = out_format == "table"
        listed = store.answer(REVIEWS, chosen) if plain else store.frame(REVIEWS, chosen)
        if tag and not listed.height:
            raise _no_such_tag(tag, store)
        show_frame(listed, out_format, needed=("review", "outcome", "units", "date"))
        offer_recompute(home)
    if plain:
        newest = LightRows.of(listed).values("review")[-1:]
        next_step(*(f"show {word(key)}" for key in newest or ["REVIEW"]), catalogue=catalogue)


@app.command(rich_help_panel=BROWSE)
def show(
    review: Annotated[str, typer.Argument(help="A review's key.")],
    catalogue: Home = HERE,
    everything: Annotated[
        bool, typer.Option("--all", help="List every capture, however many there are.")
    ] = False,
    out_format: Format = "table",
    wide: Wide = False,
) -> None:
    """List the captures of a review with how each ended and why, and what they warn of.

    Where a terminal's screen doesn't hold them all, only those that aren't whole are listed.

    Example: backbench show 2024-05-heron
    """
    from backbench.reports.outcome_lines import (
        fault_lines,
        left_open,
        outcome_frame,
        outcome_table,
    )
    from backbench.reports.result_cells import printable
    from backbench.reports.terminal_tables import screen_rows

    home = opened(catalogue)
    with home.reading():
        ended, stale = home.outcome(review), home.stale(review).sentence(review)
    if out_format != "table":
        show_frame(outcome_frame(ended), out_format)
        return
    captures, left_out = list(ended.captures), 0
    if sys.stdout.isatty() and not everything and len(captures) > screen_rows():
        captures, left_out = ended.faulty, len(captures) - len(ended.faulty)
    if captures:
        show_frame(outcome_table(captures), out_format)
    typer.echo(ended.counts())
    if left_out:
        typer.echo(f"Not listed: {counted(left_out, 'whole capture')}; --all lists every capture.")
    for line in [*fault_lines(ended), *left_open(ended)]:
        typer.echo(line)
    next_step(f"readings {word(review)}", f"sheet {word(review)}", catalogue=catalogue)
    if stale:
        typer.echo(printable(f"Note: {stale}"))


@app.command(rich_help_panel=BROWSE)
def queries(catalogue: Home = HERE, out_format: Format = "table", wide: Wide = False) -> None:
    """List the saved queries with the question that each answers, and your own that are faulty.

    Example: backbench queries
    """
    from backbench.reports.terminal_tables import show_queries

    home = opened(catalogue)
    if out_format == "table":
        show_queries(home.queries())
    else:
        import polars as pl

        rows = [
            {"query": name, "title": one.title, "question": one.question, "chart": one.chart}
            for name, one in home.queries().items()
        ]
        show_frame(pl.DataFrame(rows, infer_schema_length=None), out_format)
    faulty = report_faulty_queries(home)
    if out_format == "table":
        next_step("query QUERY", catalogue=catalogue)
    if faulty:
        raise typer.Exit(PARTLY_DONE)


@app.command(rich_help_panel=BROWSE)
def readings(
    review: Annotated[str, typer.Argument(help="A review's key.")],
    catalogue: Home = HERE,
    metric: Annotated[
        str | None, typer.Option(help="Only this metric; see `backbench metrics`.")
    ] = None,
    out_format: Format = "table",
    out: Annotated[Path | None, typer.Option(help="Write to this file.")] = None,
    wide: Wide = False,
) -> None:
    """List all figures of a review with their conditions, and why some have no value.

    Example: backbench readings 2024-05-heron --metric thd
    """
    from backbench.reports.reading_list import reading_list
    from backbench.reports.result_cells import printable

    home = opened(catalogue)
    plain = out_format == "table" and out is None
    with home.reading() as store:
        home.outcome(review)
        stale = home.stale(review)
        rows = reading_list(store, review, metric, stale, in_words=out_format == "table")
    show_frame(rows, out_format, out)
    if plain and (sentence := stale.sentence(review)):
        typer.echo(printable(f"Note: {sentence}"))
    if plain:
        next_step(f"sheet {word(review)}", catalogue=catalogue)


@app.command(rich_help_panel=BROWSE)
def query(
    name: Annotated[str, typer.Argument(help="A saved query's name; see `backbench queries`.")],
    catalogue: Home = HERE,
    settings: Settings = None,
    out_format: Format = "table",
    out: Annotated[Path | None, typer.Option(help="Write to this file.")] = None,
    wide: Wide = False,
) -> None:
    """Run a saved query and show its result.

    Example: backbench query idle-noise-of-technology --set technology=tube
    """
    home, values = opened(catalogue), assigned(settings)
    with home.reading():
        shown = out_format == "table" and out is None
        answer = (home.answer if shown else home.query)(name, **values)
        stated = home.stated_query(name, answer, **values)
    show_frame(answer, out_format, out, stated)
    if stated.chart and out_format == "table" and out is None:
        given = "".join(f" --set {word(setting)}" for setting in settings or ())
        next_step(f"chart {word(name)} {word(name)}.html{given}", catalogue=catalogue)


@app.command(rich_help_panel=BROWSE)
def chart(
    name: Annotated[str, typer.Argument(help="A saved query that has a chart.")],
    out: Annotated[Path, typer.Argument(help="A file ending in .html, .svg or .png.")],
    catalogue: Home = HERE,
    settings: Settings = None,
    size: Annotated[
        str, typer.Option(help="Size of a PNG in pixels: 1920x1080 or 3840x2160.")
    ] = "1920x1080",
) -> None:
    """Draw the chart of a saved query.

    Example: backbench chart quietest-of-a-kind noise.html
    """
    from backbench.charts.image_export import save

    save(opened(catalogue).chart(name, **assigned(settings)), out, _pixels(size))
    typer.echo(f"Wrote {out}.")


@app.command(rich_help_panel=BROWSE)
def metrics(catalogue: Home = HERE, out_format: Format = "table", wide: Wide = False) -> None:
    """List every metric with its unit and the source of its definition.

    Those of the program, and the quantities that the settings of a catalogue add.

    Example: backbench metrics
    """
    import polars as pl

    from backbench.documents.file_names import SETTINGS_NAME
    from backbench.metrics.registry import registry
    from backbench.storage.catalogue_paths import places

    home = places(catalogue)
    home.bring_into_force()
    if (home.root / SETTINGS_NAME).exists():
        _ = home.settings  # faulty ones declare nothing, so that their quantities would be missing
    rows = [
        {"metric": m.name, "unit": m.unit, "title": m.title, "source": m.source}
        for m in registry().metrics.values()
    ]
    show_frame(pl.DataFrame(rows), out_format)
    if out_format == "table":
        next_step("readings REVIEW --metric METRIC", catalogue=catalogue)


REVIEWS = """
WITH number AS (
    SELECT review_key, outcome, count(*) AS n FROM capture_outcome GROUP BY ALL
)
SELECT review_key AS review, reviewed AS date,
       (SELECT string_agg(unit_key, ', ' ORDER BY position) FROM appearance
        WHERE appearance.review_key = review.review_key) AS units,
       coalesce(sum(n), 0)::BIGINT AS captures,
       coalesce(string_agg(n || ' ' || outcome, ', ' ORDER BY outcome DESC), 'entered') AS outcome,
       bench_key AS bench
FROM review LEFT JOIN number USING (review_key)
WHERE $tag = '' OR review_key IN (
    SELECT review_key FROM heard
    WHERE list_contains(list_transform(tags, lambda t: lower(t)), $tag))
GROUP BY ALL ORDER BY date, review
"""
TAGS = "SELECT DISTINCT unnest(tags) FROM heard ORDER BY ALL"


def _no_such_tag(tag: str, store: Database) -> UserError:
    known = [str(word) for (word,) in store.rows(TAGS)]
    listed = f"tags there: {', '.join(known) or 'none'}"
    fault = Fault("--tag", repr(tag), "a tag of a review", did_you_mean(tag, known, listed))
    return UserError("no review has this tag", [fault])


def _pixels(text: str) -> ImageSize:
    """1920x1080 as a size. Raises UserError for anything else than a width and a height."""
    from backbench.charts.drawing import Size as ImageSize

    width, _, height = text.partition("x")
    if not (width.isdigit() and height.isdigit() and 0 < int(width) * int(height) <= 10**8):
        fault = Fault("--size", repr(text), "width and height in pixels, as 1920x1080")
        raise UserError("the chart can't be written", [fault])
    return ImageSize(int(width), int(height))
