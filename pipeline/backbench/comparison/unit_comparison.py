"""One unit beside its peers: verdicts, places, neighbours, and what stands against them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from backbench.comparison.compared_sides import changes, outputs_in, sides
from backbench.comparison.differences import Difference
from backbench.comparison.peers import Peers, choose
from backbench.comparison.remarks import listening, methods, out_of_date, warnings
from backbench.comparison.stale_figures import Stale, stale_figures
from backbench.comparison.standings import Common, NearUnit, Standing, asked_common, placed
from backbench.comparison.summary import Facts, summary
from backbench.comparison.usual_differences import one_per_metric
from backbench.comparison.verdicts import Verdict, verdicts
from backbench.storage.database import Database

if TYPE_CHECKING:
    import polars as pl

    from backbench.documents.settings import Settings


@dataclass(frozen=True)
class Comparison:
    """Everything that `compare` says of a unit.

    work, sides: what is held against what, and the differences: before and after work, left and
    right; both empty where there is nothing to hold against. sentences: what a reader should know
    first, in three to five plain sentences. warnings: of the notes those that change how a figure
    is to be read.
    """

    unit_key: str
    label: str
    technology: str
    kind: str
    state: str
    review_key: str
    reviewed: dt.date
    peers: Peers
    verdicts: tuple[Verdict, ...]
    lines: tuple[Standing, ...]
    nearest: tuple[NearUnit, ...]
    notes: tuple[str, ...] = field(default=())
    listening: tuple[str, ...] = field(default=())
    work: tuple[str, tuple[Difference, ...]] = ("", ())
    sides: tuple[str, tuple[Difference, ...]] = ("", ())
    sentences: tuple[str, ...] = field(default=())
    warnings: tuple[str, ...] = field(default=())

    def frame(self) -> pl.DataFrame:
        """One row a metric; rank and left-out counts in words."""
        import polars as pl

        rows = [
            {
                "metric": line.metric, "point_key": line.point_key, "output": line.output,
                "limit_percent": line.limit_percent, "value": line.value,
                "uncertainty": line.uncertainty, "unit": line.unit, "bound": line.bound,
                "status": line.status, "n": line.n,
                "rank_first": line.rank[0] if line.rank else None,
                "rank_last": line.rank[1] if line.rank else None,
                "percentile": line.percentile, "interpolated": line.interpolated,
                "note": line.note, "out_of_date": line.stale,
                "session_default": line.session_default,
                "left_out": "; ".join(f"{n} {why}" for why, n in line.left_out.items()),
            }
            for line in self.lines
        ]  # fmt: skip
        return pl.DataFrame(rows, infer_schema_length=None)


def compare_unit(
    store: Database,
    unit_key: str,
    settings: Settings | None = None,
    peers: Sequence[str] | None = None,
    include_entered: bool = True,
    common: Common | None = None,
    judged: Sequence[Verdict] | None = None,
    stale: Stale | None = None,
    heard: bool = True,
) -> Comparison:
    """A unit beside its peers. Raises UserError for an unknown unit (with near keys) or choice.

    peers: as for `peers.choose`. include_entered: whether typed-in readings of old records take
    part; they are marked, and one without an uncertainty is never claimed to be better or worse.
    common: what `read_common` gave of this store, where many units are compared; it must have been
    read with the same include_entered and settings.
    judged: what `verdicts` gives of the unit, where that was asked of many at once.
    settings: loudspeakers and listening place, for levels in a listener's terms; none without.
    stale: figures that are out of date, where that is known; else by the settings, if given.
    heard: whether a listener's terms are wanted.
    """
    if common is None:
        if stale is None:
            stale = stale_figures(store, settings) if settings else Stale()
        common = asked_common(store, include_entered, stale)
    unit = common.units.one(unit_key)
    chosen = choose(common.units, unit, peers)
    review_key, reviews = str(unit["review_key"]), int(unit["reviews"])
    outputs = outputs_in(store, unit_key, review_key)
    # Work lies between two reviews.
    work = changes(store, unit_key) if reviews > 1 else ("", [])
    between = sides(store, unit_key, review_key, outputs)
    lines, nearest, days = placed(common, unit_key, chosen)
    cautions = (
        *out_of_date(common.stale, days, unit_key),
        *warnings(store, chosen, lines, days, unit, common.steps),
    )  # fmt: skip
    made = Comparison(
        unit_key=unit_key,
        label=str(unit["label"]),
        technology=str(unit["technology"]),
        kind=str(unit["kind"]),
        state=str(unit["state"]),
        review_key=review_key,
        reviewed=_day(unit["reviewed"]),
        peers=chosen,
        verdicts=tuple(verdicts(store, unit_key, review_key) if judged is None else judged),
        lines=lines,
        nearest=nearest,
        notes=(*cautions, *methods(days, unit_key)),
        warnings=cautions,
        listening=tuple(listening(store, unit, lines, settings)) if heard else (),
        work=(work[0], tuple(one_per_metric(work[1]))),
        sides=(between[0], tuple(one_per_metric(between[1]))),
    )
    facts = Facts(made.kind, made.lines, chosen, made.verdicts, made.work[1], outputs=outputs)
    return replace(made, sentences=summary(facts))


def _day(value: object) -> dt.date:
    assert isinstance(value, dt.date)
    return value
