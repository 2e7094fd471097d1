"""The pages that list: units, makers, reviews, questions; comparison; methods and glossary."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from backbench.charts.theme import in_order
from backbench.comparison.verdicts import RULE
from backbench.ingest.outcomes import review_outcomes
from backbench.publish import finding_sentences
from backbench.publish.compared_curves import compared_curves
from backbench.publish.heavy_pictures import landing_picture
from backbench.publish.output_files import OutputFile
from backbench.publish.promises_picture import promises_picture
from backbench.publish.render import NONE_SHOWN, json_text
from backbench.publish.site_builder import MOST_DATA_BYTES, SiteBuilder, comparison_data
from backbench.publish.site_data import Place, Row, SiteData, overview
from backbench.publish.value_text import years
from backbench.quantities.number_columns import number_column
from backbench.quantities.writing import exact
from backbench.querying.saved_queries import SavedQuery
from backbench.statistics import ranks

WORDS = (
    ("unit", "one physical sample; two mono amplifiers are two units"),
    ("review", "one bench session over one or more units"),
    ("state", "a unit's condition at a review: as received, serviced, restored or modified"),
    ("bench", "the measuring chain: its calibration, its uncertainty, its own residual"),
    ("capture", "one raw file and the conditions that it was taken under"),
    ("reading", "one value of a quantity, with its uncertainty and conditions"),
    ("test point", "a named set of conditions at which units may be compared"),
    ("specification", "a published figure of the maker, with its conditions and its printed "
                "source"),
    ("verdict", "whether a reading meets a specification, fails it, or is inconclusive: too "
                "close to the limit for its uncertainty"),
    ("peers", "the units that a unit is compared with"),
    ("bound", "“at most” or “at least”: the limit of the bench or of the record"),
    ("entered", "typed in from an old record instead of measured from a capture"),
    ("expanded uncertainty U (k = 2)", "twice the standard uncertainty: the true value lies within "
                "± U with a probability of about 95 %"),
    ("rank", "the position among the peers, 1 = best; an interval such as 3 to 6 where the "
                "uncertainty doesn't separate neighbours"),
    ("better than %", "the percentage of the peers that the unit is better than"),
    ("significantly different", "two values whose difference is larger than its expanded "
                "uncertainty"),
    ("robust standard deviation", "1.4826 times the median distance from the median: a spread that "
                "a few extreme units do not change"),
    ("Theil-Sen slope", "the median of the slopes between all pairs of units"),
    ("Spearman's rho", "how well two quantities keep the same order: 1 the same, 0 unrelated, "
                "-1 reversed"),
    ("permutation p-value", "how often a trend at least as strong appears when the values are "
                "shuffled at random among the units"),
    ("false-discovery rate", "the expected part of the reported trends that are due to chance"),
    ("control chart", "values over time with limits three standard deviations, by the moving "
                "range, from their centre"),
)  # fmt: skip


def index_pages(builder: SiteBuilder, queries: Mapping[str, SavedQuery]) -> Iterator[OutputFile]:
    """Every page that lists, and the two that explain and compare."""
    yield from _index(builder)
    yield from _makers(builder)
    by_year: dict[int, list[tuple[Row, list[Row]]]] = {}
    for key, row in builder.site_data.reviews.items():
        of_year = by_year.setdefault(row["reviewed"].year, [])
        of_year.append((row, builder.site_data.units_in(key)))
    ended = review_outcomes(builder.renderer.store, [*builder.site_data.reviews], of_views=True)
    yield builder.put("reviews.html", "reviews.html", "reviews.html", by_year=by_year, ended=ended)
    questions = builder.put(
        "questions.html", "questions.html", "questions.html", questions=list(queries.values()),
        left_out=builder.left_out,
    )  # fmt: skip
    yield replace(questions, trouble="\n".join(builder.left_out))
    yield from _comparison_pages(builder)
    yield builder.put(
        "method.html", "method.html", "method.html", words=WORDS, rule=RULE, ranks=ranks.METHOD,
        metrics=list(builder.renderer.store.frame(METRICS).iter_rows(named=True)),
    )  # fmt: skip


METRICS = "FROM metric ORDER BY title"
PAGE_ROWS = 100
"""Units that the overview shows at once; it holds the rest as data to be searched."""


def _comparison_pages(builder: SiteBuilder) -> Iterator[OutputFile]:
    """One page, or as many as the quantities need; each names the others."""
    positions = {key: n for n, key in enumerate(builder.site_data.units)}
    curves = compared_curves(builder.renderer.store, positions)
    pages = comparison_data(builder.site_data, MOST_DATA_BYTES - len(json_text(curves)))
    files = ["compare.html", *(f"compare-{n}.html" for n in range(2, len(pages) + 1))]
    parts = [(file, _titles(data)) for file, data in zip(files, pages, strict=True)]
    for file, data in zip(files, pages, strict=True):
        yield builder.put(
            file, "compare.html", "compare.html", data=data, file=file, sheets=parts,
            curves=curves if file == files[0] else [],
        )  # fmt: skip


def _titles(data: Mapping[str, Any]) -> str:
    titles = list(dict.fromkeys(place["title"] for place in data["places"]))
    return ", ".join(titles)


LANDING_PICTURES = (
    "noise-against-power", "damping-over-the-decades", "balance-against-age"
)  # fmt: skip
"""Saved queries whose charts of the whole catalogue stand before the list of units."""


def _index(builder: SiteBuilder) -> Iterator[OutputFile]:
    units = builder.site_data.units
    drawn = [(builder.renderer.draw(name), name) for name in LANDING_PICTURES]
    pictures = []
    for picture, name in drawn:
        if picture:
            values, *files = landing_picture(builder, picture)
            pictures.append((values, name))
            yield from files
    figures = [_figures(title, place, builder.site_data) for title, place in overview()]
    rows = [
        _row(row, [{"title": title, **own[n]} for title, own in figures])
        for n, row in enumerate(units.values())
    ]
    numeric = {"Made", *(title for title, _ in figures)}
    titles = ["Maker and model", "Technology", "Kind", "Made", "State"]
    titles += [title for title, _ in figures]
    yield builder.put(
        "index.html", "index.html", "index.html", summary=_summary(builder.site_data),
        pictures=pictures,
        rows=rows[:PAGE_ROWS], total=len(rows), page_rows=PAGE_ROWS,
        more=[_brief(row) for row in rows[PAGE_ROWS:]],
        headings=[
            {"title": title, "kind": "number" if title in numeric else "text",
             "figure": title in numeric and title != "Made"} for title in titles
        ],
        choosers=[
            ("technology", "Technology", in_order(row["technology"] for row in units.values())),
            ("kind", "Kind", sorted({row["kind"] for row in units.values()})),
            ("state", "State", sorted({row["state"] for row in units.values()})),
        ],
    )  # fmt: skip


def _brief(row: Mapping[str, Any]) -> list[Any]:
    """A row as the page's script makes it: as the template does, without the markup."""
    figures = [[figure["value"], figure["shown"]] for figure in row["figures"]]
    texts = [row[name] for name in ("key", "label", "technology", "kind")]
    return [*texts, row["made_first"] or "", row["made"] or "—", row["state"], figures]


def _summary(site_data: SiteData) -> str:
    days = sorted(row["reviewed"].isoformat() for row in site_data.reviews.values())
    return finding_sentences.catalogue_sentence(
        len(site_data.units), len(site_data.reviews), len(site_data.makers()), *(days[:1] or [""]),
        *(days[-1:] or [""]),
    )  # fmt: skip


def _row(row: Row, figures: Sequence[Mapping[str, str]]) -> dict[str, Any]:
    return {
        "key": row["unit_key"], "label": row["label"], "technology": row["technology"],
        "kind": row["kind"], "made_first": row["made_first"], "state": row["state"],
        "made": years(row["made_first"], row["made_last"]), "figures": figures,
    }  # fmt: skip


def _figures(title: str, place: Place, site_data: SiteData) -> tuple[str, list[dict[str, str]]]:
    """A figure of every unit: its heading with the unit, and what each row sorts by and shows.

    The value alone: the overview has no room for uncertainties, the unit's page has them.
    """
    column = site_data.shown.get(place, {})
    readings = [column.get(key) for key in site_data.units]
    unit = next((row["unit"] for row in readings if row), "")
    shown = number_column(
        [row["value"] if row else None for row in readings], unit,
        [row["bound"] if row else None for row in readings], NONE_SHOWN,
    )  # fmt: skip
    heading = f"{title} ({shown.unit.strip()})" if shown.unit else title
    return heading, [
        {"value": exact(row["value"], "1") if row else "", "shown": text}
        for row, text in zip(readings, shown.texts, strict=True)
    ]


def _makers(builder: SiteBuilder) -> Iterator[OutputFile]:
    """Makers and their models, after what became of their specifications."""
    site_data, picture = builder.site_data, promises_picture(builder.renderer)
    shown = None
    if picture:
        shown, *files = landing_picture(builder, picture)
        yield from files
    makers = {
        maker: [(model, len(site_data.models[maker, model])) for _, model in models]
        for maker, models in site_data.makers().items()
    }
    yield builder.put(
        "makers.html", "makers.html", "makers.html", makers=makers, models=len(site_data.models),
        picture=shown,
    )  # fmt: skip
