"""Remarks beside a comparison: its method, warnings, and figures in a listener's terms."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from backbench.comparison import drift_effects, listening_terms
from backbench.comparison.another_session import default_note
from backbench.comparison.drift import LevelChange
from backbench.comparison.earlier_states import earlier_figures
from backbench.comparison.heard_terms import heard_sentences
from backbench.comparison.peers import Peers
from backbench.comparison.stale_figures import MARK, REMEDY, Stale
from backbench.comparison.standings import LIMIT_PERCENT, Standing
from backbench.documents.kinds import kind_of_unit
from backbench.metrics.declared_traits import declarations
from backbench.quantities.counts import counted
from backbench.quantities.writing import in_text
from backbench.statistics import ranks
from backbench.storage.database import Database
from backbench.test_points.points import for_headphones, is_of_a_tuner, shipped_point

if TYPE_CHECKING:
    from backbench.documents.settings import Settings

Row = Mapping[str, Any]
WORSE = "where a unit has several outputs, the worse one is compared"


def listening(
    store: Database, unit: Mapping[str, Any], lines: Sequence[Standing],
    settings: Settings | None,
) -> list[str]:  # fmt: skip
    """What figures come to at the seat; the list price in today's money."""
    if settings is None:
        from backbench.documents.settings import Settings

        settings = Settings()
    remarks: list[str] = []
    powers: list[float] = []
    kind = kind_of_unit(str(unit["kind"]))
    for line in lines:
        if not for_headphones(line.point_key):
            remarks += heard_sentences(store, kind, line, settings.listening)
        at_loudspeaker = kind.drives_loudspeakers and not _elsewhere(line.point_key)
        role = declarations().traits(line.metric).listening if at_loudspeaker else None
        if role == "noise pressure" and line.value > 0:
            remarks += listening_terms.noise_sentences(line.value, line.bound == "upper", settings)
        if role == "greatest pressure" and line.limit_percent == LIMIT_PERCENT:
            load = shipped_point(line.point_key).load_ohm
            assert load is not None  # every test point of a greatest power has its load
            remarks += listening_terms.loudest_sentences(
                line.value, load, f"{in_text(LIMIT_PERCENT, '%')} distortion", settings
            )
            powers = _powers(store, line)
    if unit["price_amount"] is not None:
        price = unit["price_amount"], unit["price_currency"], unit["price_year"]
        remarks.append(listening_terms.price_sentence(*price, powers))
    return remarks


def _elsewhere(point_key: str) -> bool:
    """Whether a figure is of an output that feeds no loudspeaker."""
    return for_headphones(point_key) or is_of_a_tuner(point_key)


def _powers(store: Database, line: Standing) -> list[float]:
    """The power of each output of the unit at the limit."""
    rows = store.rows(
        "SELECT value FROM placed WHERE unit_key = $unit AND metric = $metric "
        "AND point_key = $point AND limit_percent = $limit ORDER BY output",
        {
            "unit": line.unit_key,
            "metric": line.metric,
            "point": line.point_key,
            "limit": line.limit_percent,
        },
    )
    return [float(value) for (value,) in rows if value > 0]


def warnings(
    store: Database, chosen: Peers, lines: Sequence[Standing], among: Sequence[Row], unit: Row,
    steps: Sequence[LevelChange],
) -> list[str]:  # fmt: skip
    """What a reader should beware of: few peers, defaults, other states, drift by these steps."""
    remarks = [chosen.note] if chosen.note else []
    if not lines:
        remarks.append("no reading of this unit is at a test point")
    remarks.append(default_note([line for line in lines if line.rank]))
    if unit["reviews"] > 1:
        remarks += earlier_figures(store, unit["unit_key"], {line.metric for line in lines})
    return [
        *filter(None, remarks),
        *drift_effects.drift_warnings(steps, lines, among),
    ]


def methods(among: Sequence[Row], unit_key: str) -> list[str]:
    """How the ranks were computed, and under which volume idle noise was taken."""
    return [f"ranks: 95 % intervals, {ranks.METHOD}; {WORSE}", *_volumes(among, unit_key)]


def out_of_date(stale: Stale, among: Sequence[Row], unit_key: str) -> list[str]:
    """Which figures were computed before the settings were corrected: the unit's, and peers'."""
    if not stale.reviews:
        return []
    touched = [row for row in among if stale.has(row["review_key"], row["analysis_key"])]
    own = sorted({row["review_key"] for row in touched if row["unit_key"] == unit_key})
    others = {row["unit_key"] for row in touched} - {unit_key}
    sentences = [stale.sentence(review) for review in own]
    if others:
        sentences.append(
            f"figures of {counted(len(others), 'peer')} are out of date ({MARK}); {REMEDY}"
        )
    return sentences


def _volumes(among: Sequence[Row], unit_key: str) -> list[str]:
    """At which volume setting the idle noise was taken, of this unit and of how many peers."""
    noises = declarations().having(lambda traits: traits.listening == "noise pressure")
    idle = [
        row for row in among if row["point_key"] == "idle" and row["metric"] in noises
    ]  # fmt: skip
    own = next((row["volume"] for row in idle if row["unit_key"] == unit_key), None)
    if not any(row["unit_key"] == unit_key for row in idle):
        return []
    others = [row["volume"] for row in idle if row["unit_key"] != unit_key]
    none = others.count(None)
    remark = f"idle noise: at volume {own}" if own else "idle noise: no volume setting stated"
    remark += f", {counted(none, 'peer')} without one stated" if none and own else ""
    return [remark + "; a unit with its volume turned down is compared with its like"]
