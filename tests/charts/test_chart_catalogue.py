"""Every declared chart on synthetic frames: valid, exact in size, honest about nothing."""

from __future__ import annotations

import json
import re
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import altair as alt
import polars as pl
import pytest

from backbench.charts import scorecard
from backbench.charts.axis import axis
from backbench.charts.declaration import MOST_ROWS
from backbench.charts.drawing import Labels, PlainColumn
from backbench.charts.image_export import STILL, STILL_LARGE, Size, png, save
from backbench.charts.registry import chart_named, charts
from backbench.errors import UserError
from chart_labels import faults_of, labels_of

LABELS = Labels(
    [
        PlainColumn("value", "V", "Residual noise"),
        PlainColumn("x", "year", "Age"),
        PlainColumn("y", "dB", "Channel balance"),
        PlainColumn("power_w", "W", "Output power"),
        PlainColumn("thd_percent", "%", "THD"),
        PlainColumn("frequency_hz", "Hz", "Frequency"),
        PlainColumn("level", "V", "Level"),
        PlainColumn("level_db", "dB", "Level re 1 kHz"),
        PlainColumn("ohm", "ohm", "Output impedance"),
    ],
    title="A heading",
    note="1 kHz, 8 ohm",
)
NAMES = sorted(charts())
HOSTILE = "</script><img src=x onerror=alert(1)>&\"'"
MIXED = "שלום מרחבא 🎛️ Ωé"


def _drawn(name: str, frame: pl.DataFrame, subject: str = "u0") -> dict[str, object]:
    spec: dict[str, object] = charts()[name].draw(frame, LABELS, subject).to_dict()
    return spec


def test_the_charts_of_the_saved_queries_are_found() -> None:
    wanted = {"ranked", "strip", "trend", "distortion-power", "response", "harmonics", "slope"}
    wanted |= {"coverage", "control", "impedance", "spectrum", "profile", "square", "products"}
    assert wanted <= set(NAMES)
    assert all(chart.purpose.endswith(".") for chart in charts().values())


@pytest.mark.parametrize("name", NAMES)
def test_specification_is_valid_and_fed_inline(name: str, frames: dict[str, pl.DataFrame]) -> None:
    spec = _drawn(name, frames[name])
    assert "vega-lite" in str(spec["$schema"])
    assert '"url"' not in json.dumps(spec)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    ("count", "subjects"),
    [(1, ("", "u0")), (2, ("u0", "not in the frame")), (60, ("", "not in the frame"))],
)
def test_draws_one_unit_two_and_many(
    name: str, count: int, subjects: tuple[str, ...],
    frames_for: Callable[..., dict[str, pl.DataFrame]],
) -> None:  # fmt: skip
    """Each number of units with two of the three subjects; many with one of them elsewhere."""
    frame = frames_for(count)[name]
    for subject in subjects:
        assert charts()[name].draw(frame, LABELS, subject) is not None


@pytest.mark.parametrize("name", NAMES)
def test_still_is_exactly_full_hd(name: str, frames: dict[str, pl.DataFrame]) -> None:
    content = png(charts()[name].draw(frames[name], LABELS, "u0"))
    assert content[:8] == b"\x89PNG\r\n\x1a\n"
    assert struct.unpack(">II", content[16:24]) == (STILL.width, STILL.height) == (1920, 1080)


def test_large_still_is_exactly_four_times_that(frames: dict[str, pl.DataFrame]) -> None:
    content = png(charts()["ranked"].draw(frames["ranked"], LABELS, "u0"), STILL_LARGE)
    assert struct.unpack(">II", content[16:24]) == (3840, 2160)


def test_other_proportions_are_refused(frames: dict[str, pl.DataFrame]) -> None:
    with pytest.raises(UserError, match="proportions"):
        png(charts()["strip"].draw(frames["strip"], LABELS), Size(1000, 1000))


def test_a_portrait_layout_gives_a_portrait_still(frames: dict[str, pl.DataFrame]) -> None:
    tall = charts()["strip"].draw(frames["strip"], LABELS, size=Size(700, 900))
    assert struct.unpack(">II", png(tall)[16:24]) == (1400, 1800)


@pytest.mark.parametrize("name", NAMES)
def test_vector_picture_holds_the_units_label(
    name: str, tmp_path: Path, frames_for: Callable[..., dict[str, pl.DataFrame]]
) -> None:
    save(charts()[name].draw(frames_for(12, "Ostrand K7")[name], LABELS, "u0"), tmp_path / "c.svg")
    assert "Ostrand K7" in (tmp_path / "c.svg").read_text()


@pytest.mark.parametrize("name", NAMES)
def test_a_label_with_markup_stays_a_label(
    name: str, tmp_path: Path, frames_for: Callable[..., dict[str, pl.DataFrame]]
) -> None:
    drawn = charts()[name].draw(frames_for(12, HOSTILE)[name], LABELS, "u0")
    save(drawn, tmp_path / "c.html")
    save(drawn, tmp_path / "c.svg")
    page = (tmp_path / "c.html").read_text()
    assert page.count("<script") == page.count("</script>") == 2
    assert "<img src=x" not in page
    assert "<img src=x" not in (tmp_path / "c.svg").read_text()


@pytest.mark.parametrize("name", NAMES)
def test_right_to_left_and_emoji_labels_are_kept(
    name: str, frames_for: Callable[..., dict[str, pl.DataFrame]]
) -> None:
    spec = json.dumps(_drawn(name, frames_for(12, MIXED)[name]), ensure_ascii=False)
    assert MIXED in spec


def test_a_heading_with_markup_is_escaped(tmp_path: Path, frames: dict[str, pl.DataFrame]) -> None:
    labels = Labels(title=HOSTILE, note=HOSTILE)
    save(charts()["strip"].draw(frames["strip"], labels), tmp_path / "c.html")
    page = (tmp_path / "c.html").read_text()
    assert page.count("</script>") == 2
    assert "<img src=x" not in page


def test_page_loads_nothing(tmp_path: Path, frames: dict[str, pl.DataFrame]) -> None:
    save(charts()["ranked"].draw(frames["ranked"], LABELS, "u0"), tmp_path / "c.html")
    page = (tmp_path / "c.html").read_text()
    tags = re.findall(r"<(?:script|link|img|iframe)\b[^>]*>", page.split("<script>")[0])
    assert tags == []
    assert re.findall(r"<script[^>]+src", page) == []
    assert "@import" not in page.split("<script>")[0]
    assert len(page.encode()) < 3_000_000


@pytest.mark.parametrize("name", NAMES)
def test_no_rows_gives_a_sentence(name: str, frames: dict[str, pl.DataFrame]) -> None:
    spec = json.dumps(_drawn(name, frames[name].clear(), subject=""))
    assert "No unit in the catalogue has a value for this yet." in spec
    assert '"axis"' not in re.sub(r'"config".*', "", spec.split('"datasets"')[0])


@pytest.mark.parametrize("name", NAMES)
def test_rows_without_numbers_give_a_sentence(name: str, frames: dict[str, pl.DataFrame]) -> None:
    if name == "coverage":
        pytest.skip("a gap is a row without readings")
    numbers = pl.selectors.float()
    nothing = frames[name].with_columns(
        pl.lit(float("nan")).alias(c) for c in frames[name].select(numbers).columns
    )
    assert "yet." in json.dumps(_drawn(name, nothing, subject="")) or name == "slope"


@pytest.mark.parametrize("name", NAMES)
def test_too_many_rows_are_refused_with_the_remedy(
    name: str, frames: dict[str, pl.DataFrame]
) -> None:
    frame = frames[name]
    many = pl.concat([frame] * (MOST_ROWS // frame.height + 1))
    with pytest.raises(UserError, match="aggregate in the query's SQL"):
        charts()[name].draw(many, LABELS)


def test_every_fault_of_a_frame_is_reported_at_once(frames: dict[str, pl.DataFrame]) -> None:
    with pytest.raises(UserError) as message:
        charts()["ranked"].draw(
            frames["ranked"].drop("low", "high"), LABELS, options={"scale": "cubic", "x": "y"}
        )
    assert [fault.where for fault in message.value.faults] == [
        "column low",
        "column high",
        "option scale",
        "option x",
    ]


def test_an_unknown_chart_names_those_that_there_are() -> None:
    with pytest.raises(UserError, match="ranked"):
        chart_named("bars")


def test_an_unknown_suffix_is_refused(tmp_path: Path, frames: dict[str, pl.DataFrame]) -> None:
    with pytest.raises(UserError, match=r"\.svg"):
        save(charts()["strip"].draw(frames["strip"], LABELS), tmp_path / "c.pdf")


def test_the_marked_units_name_ends_before_its_mark(frames: dict[str, pl.DataFrame]) -> None:
    edge = frames["trend"].with_columns(
        x=pl.when(pl.col("unit_key") == "u0").then(100.0).otherwise(pl.col("x")),
        label=pl.when(pl.col("unit_key") == "u0").then(pl.lit("Gristmantle Burrhouse H")),
    )
    spec = _drawn("trend", edge)
    rows = [row for some in spec["datasets"].values() for row in some]  # type: ignore[attr-defined]
    name = next(row for row in rows if row.get("text") == "Gristmantle Burrhouse H")
    own = next(row for row in rows if row.get("unit_key") == "u0" and "y" in row)
    mark = [_px(spec, "x", own["x"], "width"), _px(spec, "y", own["y"], "height")]
    # 11.89 em wide in a bold sans-serif, set in 15 px; the mark is 14 px across.
    level = abs(name["py"] - 0.3 * name["size"] - mark[1]) < 1e-3
    assert not level or name["px"] + 11.89 * 15 < mark[0] - 7


def _px(spec: dict[str, Any], channel: str, value: float, extent: str) -> float:
    """Where a value lies on the linear axis of a channel, in pixels."""
    low, high = next(
        layer["encoding"][channel]["scale"]["domain"]
        for layer in spec["layer"]
        if (layer["encoding"].get(channel, {}).get("scale") or {}).get("domain")
    )
    share = (value - low) / (high - low)
    return float(spec[extent]) * (share if channel == "x" else 1 - share)


def test_years_of_making_have_a_slope_a_decade(frames: dict[str, pl.DataFrame]) -> None:
    labels = Labels([PlainColumn("x", "", "Year of making"), PlainColumn("y", "dB", "Balance")])
    spec = json.dumps(charts()["trend"].draw(frames["trend"], labels).to_dict())
    assert "a decade" in spec
    other = Labels([PlainColumn("x", "", "Number of stages"), PlainColumn("y", "dB", "Balance")])
    assert "per unit of number of stages" in json.dumps(
        charts()["trend"].draw(frames["trend"], other).to_dict()
    )


def test_bars_are_explained_only_where_they_are_drawn(frames: dict[str, pl.DataFrame]) -> None:
    sharp = frames["strip"].with_columns(low=pl.col("value"), high=pl.col("value"))
    for name in ("strip", "ranked"):
        assert "(k = 2)" in json.dumps(_drawn(name, frames[name]))
        assert "(k = 2)" not in json.dumps(_drawn(name, sharp))


def test_conditions_stand_under_the_heading(frames: dict[str, pl.DataFrame]) -> None:
    spec = json.dumps(_drawn("strip", frames["strip"]))
    assert "1 kHz, 8 ohm" in spec


def test_reviews_of_one_unit_have_a_row_each_with_its_year() -> None:
    frame = pl.DataFrame(
        [
            {"review_key": f"r{year}", "unit_key": "u0", "label": "Quarrel M30, left"}
            | {"family": family, "readings": readings, "state": state}
            | {"reviewed": f"{year}-05-01"}
            for year in (2019, 2021)
            for family, readings, state in (
                ("noise", 2, "measured"),
                ("separation", 0, "not applicable"),
            )
        ]
    )
    spec = json.dumps(_drawn("coverage", frame), ensure_ascii=False)
    assert "Quarrel M30, left\u20022019" in spec
    assert "Quarrel M30, left\u20022021" in spec
    assert "all complete" in spec


def test_mains_lines_are_distinguished_from_other_peaks(frames: dict[str, pl.DataFrame]) -> None:
    frame = frames["spectrum"].with_columns(
        kind=pl.col("kind").replace("mains line", "mains"),
        level=20 * pl.col("level").log10(),
        name=pl.when(pl.col("frequency_hz") == 50.0).then(pl.lit("fifty")),
    )
    labels = Labels([PlainColumn("level", "dBV", "Level of each line")])
    drawn = charts()["spectrum"].draw(frame, labels)
    spec = json.dumps(drawn.to_dict(), ensure_ascii=False)
    assert "circles: mains lines" in spec
    assert "fifty" in spec


def test_panels_are_headed_by_the_metrics_title(frames: dict[str, pl.DataFrame]) -> None:
    frame = frames["slope"].with_columns(title=pl.lit("Residual noise"), unit=pl.lit("V"))
    shown, _, _ = labels_of(charts()["slope"].draw(frame, LABELS, "u0"))
    assert "Residual noise" in [label.text for label in shown]


@pytest.mark.parametrize("name", ["strip", "trend"])
def test_five_thousand_units_stay_a_small_page(
    name: str, tmp_path: Path, frames_for: Callable[..., dict[str, pl.DataFrame]]
) -> None:
    one = frames_for(100)[name]
    keys = [f"unit-of-the-catalogue-{k}" for k in range(MOST_ROWS)]
    many = pl.concat([one] * (MOST_ROWS // one.height)).with_columns(
        unit_key=pl.Series(keys), label=pl.Series([f"Sundertarn Anvilmoss {k}" for k in keys])
    )
    save(charts()[name].draw(many, LABELS, keys[0]), tmp_path / "c.html")
    assert (tmp_path / "c.html").stat().st_size < 3_000_000


NOT_OF_UNITS = ("control", "coverage", "profile")
"""Charts whose rows need no unit."""


@pytest.mark.parametrize("name", [name for name in NAMES if name not in NOT_OF_UNITS])
def test_a_unit_without_a_value_is_named_with_the_reason(
    name: str, frames: dict[str, pl.DataFrame]
) -> None:
    labels = Labels(missing="Quarrel M-99 has no value here: it was not measured in any review.")
    spec = json.dumps(chart_named(name).draw(frames[name], labels, "u99").to_dict())
    assert "Quarrel M-99 has no value here: it was not measured in any review." in spec
    assert "Measured: Quarrel M-10" in spec
    assert '"axis"' not in re.sub(r'"config".*', "", spec.split('"datasets"')[0])


@pytest.mark.parametrize(
    "name", [name for name in NAMES if name not in (*NOT_OF_UNITS, "scorecard")]
)
def test_the_heading_is_the_finding_with_its_subject(
    name: str, frames: dict[str, pl.DataFrame]
) -> None:
    labels = Labels(title="A heading", question="A question?", note="1 kHz")
    spec = json.dumps(chart_named(name).draw(frames[name], labels, "u0").to_dict())
    assert '"description": "Quarrel M-10: ' in spec
    assert "A question? 1 kHz" in spec


LEAST_PX = 12.0
"""At 1280 px a sheet shows a chart 896 px wide, 0.93 of its layout: 12 px are 11.2 there."""


@pytest.mark.parametrize("name", NAMES)
def test_labels_are_large_enough_and_keep_apart(name: str, frames: dict[str, pl.DataFrame]) -> None:
    labels = Labels(title="A heading", question="A question?", note="1 kHz, 8 ohm")
    assert faults_of(chart_named(name).draw(frames[name], labels, "u0"), LEAST_PX) == []


def test_overlapping_cut_and_small_labels_are_faults() -> None:
    rows = [{"x": 10, "t": "one label"}, {"x": 14, "t": "another label"}, {"x": 195, "t": "cut"}]
    text = alt.Chart(alt.InlineData(values=rows)).mark_text(fontSize=9, align="left")
    axis = alt.X("x:Q", scale=alt.Scale(domain=[0, 200]), axis=None)
    drawn = text.encode(x=axis, text="t:N").properties(
        width=200, height=40, padding=0, autosize=alt.AutoSizeParams(type="none")
    )
    faults = faults_of(drawn, LEAST_PX)
    assert "'one label' lies on 'another label'" in faults
    assert "'cut' runs out of the picture" in faults
    assert "'cut' is 9 px" in faults


def test_a_scorecard_bar_across_zero_begins_at_zero() -> None:
    """Nearer zero is better: -0.2 to 0.4 dB holds everything from 0 to 0.4 dB."""
    row = {
        "unit_key": "u0", "label": "Quarrel M30", "technology": "tube", "better": "nearer zero",
        "value": 0.1, "low": -0.2, "high": 0.4, "bound": None,
    }  # fmt: skip
    scale = axis([0.0, 1.0], 100.0, 0.0, "dB")
    placed = scorecard._placed(row, scale, 5.0, "dB")
    assert (placed["from"], placed["to"]) == (scale.px(0.0), scale.px(0.4))


def test_a_difference_from_a_curve_without_uncertainty_has_no_band(
    frames: dict[str, pl.DataFrame],
) -> None:
    known = frames["overlaid"]
    second = known["series"].unique().sort()[-1]
    part = known.with_columns(y_u=pl.when(pl.col("series") != second).then(pl.col("y_u")))
    assert '"area"' in json.dumps(_drawn("overlaid", known))
    assert '"area"' not in json.dumps(_drawn("overlaid", part))


def test_curves_of_many_outputs_are_laid_over_each_other(frames: dict[str, pl.DataFrame]) -> None:
    one = frames["overlaid"].filter(pl.col("output") == "left")
    many = pl.concat([one.with_columns(output=pl.lit(f"output {n}")) for n in range(6)])
    assert "output 5" in json.dumps(_drawn("overlaid", many))
