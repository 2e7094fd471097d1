"""Commands that publish: publish, sheet, pictures."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.common import (
    HERE,
    PARTLY_DONE,
    PUBLISH,
    Home,
    Processes,
    app,
    opened,
)
from backbench.quantities.counts import counted

if TYPE_CHECKING:
    from backbench.charts.drawing import Size
    from backbench.publish.site_builder import SiteBuilder


class StillSize(StrEnum):
    """Pixels of stills: for a screen, a large one, one held upright, and square."""

    WIDE = "1920x1080"
    LARGE = "3840x2160"
    UPRIGHT = "1080x1920"
    SQUARE = "1080x1080"


@app.command(rich_help_panel=PUBLISH)
def publish(
    catalogue: Home = HERE,
    stills: Annotated[
        str | None,
        typer.Option(help="Write the numbered pictures of this review instead of the site."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Write here instead of the catalogue's folder `published`.")
    ] = None,
    processes: Processes = None,
    size: Annotated[
        StillSize, typer.Option(help="Pixels of the pictures that --stills writes.")
    ] = StillSize.WIDE,
    dark: Annotated[
        bool, typer.Option("--dark", help="Pictures of --stills on a dark ground.")
    ] = False,
    transparent: Annotated[
        bool, typer.Option("--transparent", help="Pictures of --stills without a ground.")
    ] = False,
) -> None:
    """Write the catalogue as a static web site, or one review's pictures.

    Example: backbench publish -c my-catalogue
    """
    if stills is not None:
        _stills(catalogue, stills, out, size, processes, dark=dark, transparent=transparent)
        return
    if dark or transparent or size is not StillSize.WIDE:
        raise typer.BadParameter("--size, --dark and --transparent are of pictures: add --stills")
    from backbench.publish.site import publish as make
    from backbench.reports.progress_bars import bars

    root = opened(catalogue).places.root
    folder = out or root / "published" / "site"
    with bars() as shown:
        task = shown.add_task("making pages", total=None)
        done = make(
            root, folder, processes or _processors(),
            started=lambda total: shown.update(task, total=total),
            progress=lambda number: shown.advance(task, number),
        )  # fmt: skip
    if done.nothing_new:
        typer.echo(f"{folder}/ is up to date.")
        return
    typer.echo(
        f"{folder}/index.html: {counted(len(done.written), 'file')} written, "
        f"{done.kept} unchanged, {len(done.removed)} removed."
    )
    for trouble in done.troubles:
        typer.echo(trouble, err=True)
    if done.troubles:
        raise typer.Exit(PARTLY_DONE)


def _processors() -> int:
    return len(os.sched_getaffinity(0))


class Paper(StrEnum):
    """Sizes of sheets that a PDF is printed on."""

    A4 = "A4"
    LETTER = "letter"


@app.command(rich_help_panel=PUBLISH)
def sheet(
    review: Annotated[str, typer.Argument(help="A review's key.")],
    out: Annotated[
        Path | None, typer.Argument(help="A file ending in .html or .pdf.", show_default=False)
    ] = None,
    catalogue: Home = HERE,
    paper: Annotated[Paper, typer.Option(help="Size of a PDF's sheets.")] = Paper.A4,
) -> None:
    """Write one review as a single page, HTML or PDF.

    Example: backbench sheet 2024-05-heron heron.pdf
    """
    from backbench.publish.standalone_page import save_sheet

    with _builder(catalogue) as builder:
        path = out or builder.folder / "sheets" / f"{review}.html"
        save_sheet(builder, review, path, paper.value)
    typer.echo(f"Wrote {path}.")


@app.command(rich_help_panel=PUBLISH)
def pictures(
    out: Annotated[Path, typer.Argument(help="A file ending in .html.")],
    catalogue: Home = HERE,
    width: Annotated[
        int, typer.Option(min=200, max=4000, help="Pixels that a picture is shown at.")
    ] = 960,
    dark: Annotated[bool, typer.Option("--dark", help="As on a dark screen.")] = False,
    stills: Annotated[
        list[str] | None,
        typer.Option(
            help="Count the stills of this review too, in every size.", show_default=False
        ),
    ] = None,
) -> None:
    """Write every picture of the published site on one page, and count what is hard to see.

    The pictures of the page for comparing units, which its script draws, are counted where a
    Chromium is installed. Example: backbench pictures all-pictures.html -c my-catalogue --dark
    """
    from backbench.publish.compared_pictures import some_compared
    from backbench.publish.contact_sheet import contact_sheet
    from backbench.publish.picture_survey import survey, survey_as_drawn, survey_lines

    site = opened(catalogue).places.root / "published" / "site"
    shown = contact_sheet(site, out, width, dark=dark)
    faulty = sum(bool(one.faults) for one in shown)
    typer.echo(
        f"Wrote {out}: {counted(len(shown), 'picture')}, {faulty} with something that "
        "is hard to see. All pictures, as seen:"
    )
    compared, left_out = some_compared(site)
    counts = survey([one.svg for one in shown])
    if not left_out:
        counts |= survey_as_drawn("page for comparing units", compared)
    if stills:
        counts |= _of_stills(catalogue, stills)
    for line in survey_lines(counts):
        typer.echo(f"  {line}")
    if left_out:
        typer.echo(left_out)


def _of_stills(catalogue: Path, reviews: Sequence[str]) -> dict[str, Counter[str]]:
    from backbench.publish.still_survey import surveyed_stills

    with _builder(catalogue) as builder:
        return surveyed_stills(builder, reviews, [_pixels(size) for size in StillSize])


def _pixels(size: StillSize) -> Size:
    from backbench.charts.drawing import Size

    width, height = (int(side) for side in size.value.split("x"))
    return Size(width, height)


def _stills(
    catalogue: Path, review: str, out: Path | None, size: StillSize, processes: int | None, *,
    dark: bool, transparent: bool,
) -> None:  # fmt: skip
    from backbench.charts.pixels import converting
    from backbench.charts.still_canvas import Canvas
    from backbench.publish.stills import write_stills

    looks = [size.value] * (size is not StillSize.WIDE) + ["dark"] * dark
    variant = "-".join([*looks, *["transparent"] * transparent])
    with converting(processes or _processors()) as to_png, _builder(catalogue) as builder:
        folder = out or builder.folder / "stills" / review / variant
        canvas = Canvas(_pixels(size), dark=dark, transparent=transparent)
        paths = write_stills(builder, review, folder, canvas, to_png)
    typer.echo(f"Wrote {counted(len(paths) // 2, 'picture')} with captions into {folder}/.")


@contextmanager
def _builder(catalogue: Path) -> Iterator[SiteBuilder]:
    """The catalogue opened, its published folder as the place for files."""
    from backbench.charts.own_queries import available
    from backbench.ingest.recording_dates import RecordingDates
    from backbench.publish.photographs import Album
    from backbench.publish.sheet_charts import ChartRenderer
    from backbench.publish.site_builder import SiteBuilder
    from backbench.publish.site_data import keep_values, keep_views, read_site_data

    home = opened(catalogue)
    with home.reading() as store:
        keep_views(store)
        keep_values(store)
        renderer = ChartRenderer(store, available(home.places.root), None, home.settings)
        published, album = home.places.root / "published", Album(home.places.root)
        yield SiteBuilder(
            renderer, read_site_data(store), home.settings, published, album,
            RecordingDates(home.places.root),
        )  # fmt: skip
