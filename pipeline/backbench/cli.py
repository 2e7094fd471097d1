"""The command line: parse, call, print. The one boundary that turns errors into words."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.errors import UserError

if TYPE_CHECKING:
    from collections.abc import Sequence

    import polars as pl

    from backbench.catalogue import Catalogue
    from backbench.charts.declare import Size as ImageSize
    from backbench.compare.saved import SavedQuery
    from backbench.stages.ingest import Outcome, Refused

app = typer.Typer(
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="A hi-fi bench reviewer's captures, turned into one comparative database.",
)

Home = Annotated[
    Path,
    typer.Option("--catalogue", "-c", envvar="BACKBENCH_CATALOGUE", help="The catalogue's folder."),
]
Processes = Annotated[
    int | None, typer.Option(min=1, max=256, help="Worker processes; all cores where left out.")
]
Direct = Annotated[
    bool, typer.Option("--direct", help="Without the orchestrator: quicker, no run history.")
]
Settings = Annotated[
    list[str] | None,
    typer.Option("--set", "-s", help="A parameter of the query, as name=value; may be repeated."),
]
Format = Annotated[
    str, typer.Option("--format", "-f", help="table, csv, json, parquet or markdown.")
]
Size = Annotated[str, typer.Option(help="Pixels of a PNG: 1920x1080 or 3840x2160.")]
HERE = Path()
NOT_ALL_WELL = 3
"""Exit code where the command did its work, but some input was refused or failed."""


def main() -> None:
    """Run the command line. Exit codes: 0 well, 1 user's error, 2 usage, 3 done in part."""
    try:
        app()
    except UserError as error:
        typer.echo(str(error), err=True)
        sys.exit(1)
    except KeyboardInterrupt:
        typer.echo("stopped; what was finished is kept, the same command carries on", err=True)
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)


def opened(home: Path) -> Catalogue:
    """The catalogue in a folder."""
    from backbench.catalogue import Catalogue

    return Catalogue(home)


@app.command()
def init(folder: Annotated[Path, typer.Argument(help="A new or empty folder.")]) -> None:
    """Make a catalogue. Example: backbench init my-catalogue"""
    from backbench.catalogue import Catalogue

    Catalogue.create(folder)
    typer.echo(
        f"Made {folder}. Next: describe your bench and its calibration in {folder}/backbench.toml."
    )


@app.command()
def ingest(
    folders: Annotated[list[Path], typer.Argument(help="Review folders, each with a review.toml.")],
    catalogue: Home = HERE,
    processes: Processes = None,
    direct: Direct = False,
) -> None:
    """Take in review folders. Example: backbench ingest reviews/2024-05-heron -c my-catalogue"""
    from backbench.progress import watched

    with watched() as watch:
        outcomes, refused = opened(catalogue).ingest(
            folders, history=not direct, processes=processes,
            started=watch.started, progress=watch.progress,
        )  # fmt: skip
    _tell(outcomes, refused)


@app.command()
def recompute(catalogue: Home = HERE, processes: Processes = None, direct: Direct = False) -> None:
    """Bring every review up to the methods and calibrations in force.

    Example: backbench recompute -c my-catalogue
    """
    from backbench.progress import watched

    with watched() as watch:
        outcomes, refused = opened(catalogue).recompute(
            history=not direct, processes=processes,
            started=watch.started, progress=watch.progress,
        )  # fmt: skip
    _tell(outcomes, refused)


@app.command()
def rebuild(catalogue: Home = HERE, processes: Processes = None) -> None:
    """Make the database anew from vault, ledger and settings.

    Example: backbench rebuild -c my-catalogue
    """
    from backbench.progress import watched

    with watched() as watch:
        number, refused = opened(catalogue).rebuild(processes=processes, progress=watch.progress)
    _refusals(refused)
    if refused:
        typer.echo("nothing was changed: mend these first", err=True)
        raise typer.Exit(1)
    typer.echo(f"Rebuilt the database from {number} reviews.")


@app.command()
def reviews(
    catalogue: Home = HERE, out_format: Annotated[str, typer.Option("--format")] = "table"
) -> None:
    """List the reviews with what failed in them. Example: backbench reviews -c my-catalogue"""
    _show(opened(catalogue).frame(REVIEWS), out_format)


@app.command()
def show(
    review: Annotated[str, typer.Argument(help="A review's key.")],
    catalogue: Home = HERE,
    out_format: Format = "table",
) -> None:
    """List a review's captures with how each ended. Example: backbench show 2024-05-heron"""
    import polars as pl

    captures = opened(catalogue).captures().filter(pl.col("review_key") == review)
    if captures.is_empty():
        raise _unknown_review(opened(catalogue), review)
    _show(captures.select("position", "file", "stimulus", "status", "reason"), out_format)


@app.command()
def compare(
    unit: Annotated[str, typer.Argument(help="A unit's key.")],
    catalogue: Home = HERE,
) -> None:
    """A unit beside its peers, metric by metric. Example: backbench compare heron-40-left"""
    from backbench.terminal import show_comparison

    show_comparison(opened(catalogue).compare(unit))


@app.command()
def queries(catalogue: Home = HERE) -> None:
    """List the saved queries with the question that each answers."""
    from backbench.terminal import show_queries

    show_queries(opened(catalogue).queries())


@app.command()
def query(
    name: Annotated[str, typer.Argument(help="A saved query's name; see `backbench queries`.")],
    catalogue: Home = HERE,
    settings: Settings = None,
    out_format: Format = "table",
    out: Annotated[Path | None, typer.Option(help="A file to write to.")] = None,
) -> None:
    """Run a saved query. Example: backbench query residual-noise --set technology=tube"""
    home = opened(catalogue)
    frame = home.query(name, **_assigned(settings))
    _show(frame, out_format, out, home.queries()[name])


@app.command()
def chart(
    name: Annotated[str, typer.Argument(help="A saved query that has a chart.")],
    out: Annotated[Path, typer.Argument(help="A file ending in .html, .svg or .png.")],
    catalogue: Home = HERE,
    settings: Settings = None,
    size: Annotated[
        str, typer.Option(help="Pixels of a PNG: 1920x1080 or 3840x2160.")
    ] = "1920x1080",
) -> None:
    """Draw a saved query. Example: backbench chart residual-noise noise.html"""
    from backbench.charts.export import save

    save(opened(catalogue).chart(name, **_assigned(settings)), out, _pixels(size))
    typer.echo(f"Wrote {out}.")


@app.command()
def metrics(out_format: Format = "table") -> None:
    """List every metric with unit and source. Example: backbench metrics"""
    import polars as pl

    from backbench.metrics.registry import registry

    rows = [
        {"metric": m.name, "unit": m.unit, "title": m.title, "source": m.source}
        for m in registry().metrics.values()
    ]
    _show(pl.DataFrame(rows), out_format)


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(help="A new or empty folder.")] = Path("backbench-demo"),
    processes: Processes = None,
) -> None:
    """Make, ingest, compare and draw the invented scenario. Example: backbench demo"""
    from backbench.demo import run_demo

    run_demo(folder, processes)


REVIEWS = """
SELECT review_key AS review, reviewed AS date, bench_key AS bench,
       (SELECT string_agg(unit_key, ', ' ORDER BY position) FROM appearance
        WHERE appearance.review_key = review.review_key) AS units,
       count(capture.file) AS captures,
       count(capture.file) FILTER (capture.status = 'failed') AS failed
FROM review LEFT JOIN capture USING (review_key)
GROUP BY ALL ORDER BY date, review
"""


def _pixels(text: str) -> ImageSize:
    """1920x1080 as a size. Raises UserError for anything else than a width and a height."""
    from backbench.charts.declare import Size as ImageSize
    from backbench.errors import Fault

    width, _, height = text.partition("x")
    if not (width.isdigit() and height.isdigit() and 0 < int(width) * int(height) <= 10**8):
        fault = Fault("--size", repr(text), "width and height in pixels, as 1920x1080")
        raise UserError("the chart can't be written", [fault])
    return ImageSize(int(width), int(height))


def _assigned(settings: list[str] | None) -> dict[str, str]:
    """name=value options as a mapping. Raises UserError where one has no "="."""
    from backbench.errors import Fault

    faults = [
        Fault("--set", repr(text), "name=value") for text in settings or () if "=" not in text
    ]
    if faults:
        raise UserError("a parameter can't be read", faults)
    pairs = (text.split("=", 1) for text in settings or ())
    return {name.strip(): value for name, value in pairs}


def _unknown_review(catalogue: Catalogue, review: str) -> UserError:
    import difflib

    from backbench.errors import Fault

    known = catalogue.reviews()["review_key"].to_list()
    near = difflib.get_close_matches(review, known, n=1)
    remedy = f"did you mean {near[0]}?" if near else "see `backbench reviews`"
    fault = Fault(f"review {review!r}", "no such review", "a review's key", remedy)
    return UserError("the review is not known", [fault])


def _tell(outcomes: Sequence[Outcome], refused: Sequence[Refused]) -> None:
    """What an ingest did, a line a review; faults below. Exit code 3 where not all went well."""
    for outcome in outcomes:
        if outcome.unchanged:
            typer.echo(f"{outcome.review}: nothing changed, nothing computed")
            continue
        told = f"{outcome.review}: {outcome.computed} captures computed, {outcome.kept} kept"
        typer.echo(told + (f", {len(outcome.failed)} failed" if outcome.failed else ""))
    for outcome in outcomes:
        for file, reason in outcome.failed:
            typer.echo(f"{outcome.review}: {file} failed: {reason}", err=True)
    _refusals(refused)
    if refused or any(outcome.failed for outcome in outcomes):
        raise typer.Exit(NOT_ALL_WELL if outcomes else 1)


def _refusals(refused: Sequence[Refused]) -> None:
    for item in refused:
        typer.echo(f"{item.source} was not taken in: {item.error}", err=True)


def _show(
    frame: pl.DataFrame, out_format: str, out: Path | None = None, query: SavedQuery | None = None
) -> None:
    from backbench.terminal import export

    export(frame, out_format, out, query)
