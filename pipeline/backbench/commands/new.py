"""The command that begins a review: new."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.answers import on_terminal
from backbench.commands.calibrate import Date
from backbench.commands.common import AT_THE_BENCH, HERE, DryRun, Home, app, opened
from backbench.commands.next_steps import next_step, word
from backbench.commands.quantity_options import quantity

if TYPE_CHECKING:
    from backbench.bench_day.new_review import ReviewDraft
    from backbench.bench_day.review_request import ReviewRequest
    from backbench.catalogue import Catalogue
    from backbench.documents.manifest import Manifest


@app.command(rich_help_panel=AT_THE_BENCH)
def new(
    folder: Annotated[Path, typer.Argument(help="The folder of the new review.")],
    catalogue: Home = HERE,
    unit: Annotated[
        list[str] | None,
        typer.Option(
            help="Your own key for this unit. Give it twice for a mono pair, left then right."
        ),
    ] = None,
    key: Annotated[
        str | None, typer.Option(help="The review's key. Default: the folder's name.")
    ] = None,
    date: Date = None,
    bench: Annotated[str | None, typer.Option(help="A bench described in backbench.toml.")] = None,
    mains_hz: Annotated[
        float | None, quantity("--mains-hz", "Hz", 'Mains frequency, such as 50 or "60 Hz".')
    ] = None,
    maker: Annotated[str | None, typer.Option(help="Who made the unit.")] = None,
    model: Annotated[str | None, typer.Option(help="The product's name.")] = None,
    serial: Annotated[
        list[str] | None, typer.Option(help="Serial number of each unit, in the order of --unit.")
    ] = None,
    kind: Annotated[
        str | None, typer.Option(help="Kind of unit: integrated amplifier, preamplifier, …")
    ] = None,
    technology: Annotated[str | None, typer.Option(help="Technology: tube, solid state, …")] = None,
    topology: Annotated[str | None, typer.Option(help="Topology: push-pull, class AB, …")] = None,
    made: Annotated[int | None, typer.Option(help="Year of make.")] = None,
    state: Annotated[
        str | None, typer.Option(help="State of the unit: as received, serviced, …")
    ] = None,
    work: Annotated[
        list[str] | None, typer.Option(help="Work done on the unit. May be repeated.")
    ] = None,
    rated_power_w: Annotated[
        float | None, quantity("--rated-power-w", "W", 'The maker\'s rated power, such as "40 W".')
    ] = None,
    output: Annotated[
        list[str] | None,
        typer.Option(help="An output, in the order of the tracks. May be repeated."),
    ] = None,
    dry_run: DryRun = False,
) -> None:
    """Start a review: write its review.toml with what the catalogue already knows.

    On a terminal you are asked for what is missing. A mono pair is two units of one model: the
    first on track 1, the second on track 2.

    Example: backbench new reviews/2024-05-heron --unit heron-40 --state serviced -c my-catalogue

    Example: backbench new reviews/2024-09-stilts --unit stilt-9-l --unit stilt-9-r
    --maker Marrowgate --model "Stilt 9" --kind "power amplifier" --technology tube
    --state serviced --rated-power-w 9 --mains-hz 50 -c my-catalogue
    """
    from backbench.bench_day import new_review
    from backbench.bench_day.review_request import ReviewRequest, draft_of

    home = opened(catalogue)
    facts = {
        "maker": maker, "model": model, "kind": kind, "technology": technology,
        "topology": topology, "made": made, "state": state, "work": work or None,
        "rated_power_w": rated_power_w,
    }  # fmt: skip
    request = ReviewRequest(
        folder=folder, catalogue=catalogue, units=tuple(unit or ()), key=key, date=date,
        bench=bench, mains_hz=mains_hz, serials=tuple(serial or ()), outputs=tuple(output or ()),
        facts=facts,
    )  # fmt: skip
    if on_terminal():
        draft = _completed(request, home)
    else:
        draft = draft_of(request, home.places, home.settings)
    if dry_run:
        typer.echo(new_review.manifest_text(draft))
        return
    path = new_review.begin(folder, draft)
    known = f", from {draft.before.review.key}" if draft.before else ""
    typer.echo(f"Wrote {path}{known}. Check it.")
    next_step(f"plan {word(folder)}", catalogue=catalogue)


def _unit_keys(home: Catalogue) -> list[str]:
    """The keys of the catalogue's units; none before the first review."""
    if not home.places.ledger.newest():
        return []
    return [str(key) for key in home.frame("FROM appearance")["unit_key"].unique().sort()]


def _completed(request: ReviewRequest, home: Catalogue) -> ReviewDraft:
    """The review begun with the reviewer's answers; printed as a command where it comes to none."""
    from backbench.bench_day.known_units import earlier_manifest
    from backbench.bench_day.new_review import refuse_begun
    from backbench.bench_day.review_request import draft_of
    from backbench.commands.new_questions import Conversation
    from backbench.errors import UserError

    def earlier(known: ReviewRequest) -> Manifest | None:
        facts = known.facts
        unit = known.units[0] if known.units else ""
        return earlier_manifest(
            home.places, home.settings, unit, facts.get("maker"), facts.get("model")
        )[0]

    refuse_begun(request.folder)
    talk = Conversation(request, sorted(home.settings.bench), earlier, _unit_keys(home))
    try:
        return draft_of(talk.complete(), home.places, home.settings)
    except (typer.Abort, UserError) as error:
        typer.echo(f"\nNothing was written. What you entered, as a command:\n"
                   f"  {talk.request.command_line()}")  # fmt: skip
        if isinstance(error, UserError):
            raise
        raise typer.Exit(130) from None
