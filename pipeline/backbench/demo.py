"""The demonstration: the invented scenario made, ingested, compared and drawn.

Everything after the making of the captures goes the way that a reviewer's own review goes.
"""

from __future__ import annotations

import os
import time
from pathlib import Path

import typer

from backbench.catalogue import Catalogue
from backbench.charts.image_export import save
from backbench.maintenance.corrections import withdraw
from backbench.reports.comparison_report import show_comparison
from backbench.reports.progress_bars import bars, watched
from backbench.seed_dataset.maker import write_catalogue_inputs
from backbench.seed_dataset.scenario import Scenario, scenario, settings_text

WRONG_LOAD = "the loads were of 4 ohm, not of 8 ohm"
SUBJECT = "halyard-20"
"""The unit that the demonstration looks at: a tube amplifier, before and after restoration."""


def run_demo(folder: Path, processes: int | None) -> None:
    """Make a catalogue of the scenario in a new folder and show what it answers.

    Raises UserError where the folder holds something already.
    """
    began = time.monotonic()
    catalogue = Catalogue.create(folder, settings_text())
    invented = scenario()
    typer.echo(
        f"An invented scenario of {len(invented.units)} units in {len(invented.reviews)} reviews, "
        f"made and ingested in {folder}/"
    )
    _ingested(catalogue, _made(folder, processes), processes)
    _withdrawn(catalogue, invented)
    show_comparison(catalogue.compare(SUBJECT))
    drawn = _drawn(catalogue)
    typer.echo(f"\nDrew {len(drawn)} charts into {folder / 'published'}/")
    size = sum(file.stat().st_size for file in folder.rglob("*") if file.is_file())
    typer.echo(f"{size / 1e6:.0f} MB in {folder}/, {time.monotonic() - began:.0f} s in all.")
    typer.echo(NEXT.format(folder=folder, subject=SUBJECT))


NEXT = """
Try next:
  backbench queries -c {folder}
  backbench query idle-noise-of-technology -c {folder} --set technology="solid state"
  backbench chart balance-against-age age.html -c {folder}
  backbench compare hollowreed-60-left -c {folder}
  backbench show 2019-09-halyard-20 -c {folder}
A review of your own: see "Your first review" in the README."""


def _made(folder: Path, processes: int | None) -> list[Path]:
    with bars() as shown:
        task = shown.add_task("making reviews", total=None)
        folders: list[Path] = write_catalogue_inputs(
            folder,
            workers=processes or os.cpu_count() or 1,
            progress=lambda done, total: shown.update(task, completed=done, total=total),
        )
    return folders


def _ingested(catalogue: Catalogue, reviews: list[Path], processes: int | None) -> None:
    with watched() as watch:
        outcomes, refused = catalogue.ingest(
            reviews, processes=processes, started=watch.started, progress=watch.progress
        )
    captures = sum(outcome.computed for outcome in outcomes)
    faulty = [(outcome.review, one) for outcome in outcomes for one in outcome.ended.faulty]
    typer.echo(
        f"{len(outcomes)} reviews ingested: {captures} captures measured, "
        f"{len(faulty)} of them not whole (`backbench query captures-with-flags` lists them)."
    )
    for review, one in faulty:
        if one.state == "failed":
            typer.echo(f"  {review}: {one.file}: {one.reason}", err=True)
    for item in refused:
        typer.echo(f"{item.source} was not ingested: {item.error}", err=True)


def _withdrawn(catalogue: Catalogue, invented: Scenario) -> None:
    """Take back what was measured into another load than the manifest states."""
    for review in invented.reviews:
        if "wrong-load" in review.extras:
            with catalogue.places.changing():
                withdraw(catalogue.places, review.key, WRONG_LOAD)
            catalogue.carry_on()
            typer.echo(f"{review.key} is withdrawn: {WRONG_LOAD}.")


def _drawn(catalogue: Catalogue) -> list[str]:
    """Every saved query that has a chart, as one offline page each."""
    published = catalogue.places.root / "published"
    named = [query for query in catalogue.queries().values() if query.chart]
    drawn = []
    with bars() as shown, catalogue.reading():
        for query in shown.track(named, description="drawing charts"):
            wants_unit = any(parameter.name == "unit" for parameter in query.parameters)
            values = {"unit": SUBJECT} if wants_unit else {}
            save(catalogue.chart(query.name, **values), published / f"{query.name}.html")
            drawn.append(query.name)
    return drawn
