"""Quantities of the reviewer's own: declared in the settings, entered by hand, compared as any."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import commands_run
from backbench.bench_day.session_check import check
from backbench.catalogue import Catalogue
from backbench.errors import UserError
from backbench.metrics.metric_names import metric_called
from backbench.metrics.own_quantities import OWN_FAMILY
from backbench.metrics.reference_page import by_family
from backbench.metrics.registry import registry
from faults.small_catalogue import small_catalogue

OWN = """
[quantity.mains_draw]
title = "Mains draw at idle"
unit = "W"
better = "lower"
definition = "Mains power after an hour without signal."
uncertainty = "0.3 W"
uncertainty_percent = 0.4
also_called = ["power consumption"]

[quantity.case_temperature]
title = "Case temperature"
unit = "degC"
better = "neither"
signed = true
uncertainty = "1 °C"
"""
REVIEW = """\
[review]
key = "r-{key}"
date = 2024-06-01
bench = "shed"
mains_hz = 50
[[unit]]
key = "{key}"
maker = "Marrowgate"
model = "Tern {key}"
kind = "integrated amplifier"
technology = "tube"
state = "serviced"
[[entered]]
metric = "{metric}"
unit = "{key}"
output = "both"
value = "{value}"
origin = "notebook 3"
"""


def review(folder: Path, key: str, value: str, metric: str = "mains_draw", more: str = "") -> Path:
    folder = folder / key
    folder.mkdir(parents=True)
    text = REVIEW.format(key=key, value=value, metric=metric)
    (folder / "review.toml").write_text(text + more)
    return folder


def settings_of(home: Catalogue, text: str) -> None:
    path = home.places.root / "backbench.toml"
    path.write_text(path.read_text() + text)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    """Seven amplifiers with their mains draw, the first with its case temperature too."""
    folder = tmp_path_factory.mktemp("own")
    home = small_catalogue(folder / "home")
    settings_of(home, OWN)
    hot = '[[entered]]\nmetric = "Case temperature"\nunit = "u0"\noutput = "both"\n'
    hot += 'value = "-3,5 °C"\norigin = "thermometer"\n'
    folders: list[str | Path] = [
        review(folder, f"u{n}", f"{60 + 10 * n} W", more="" if n else hot) for n in range(7)
    ]
    _, refused = home.ingest([*folders], history=False, processes=1)
    assert refused == []
    return home


def test_a_figure_has_the_uncertainty_of_its_instrument(home: Catalogue) -> None:
    """Root sum square of 0.3 W and 0.4 % of 100 W: 0.5 W."""
    rows = home.frame("SELECT value, uncertainty, status FROM reading WHERE unit_key = 'u4'")
    assert rows.rows() == [(100.0, pytest.approx(0.5), "entered")]
    (cold,) = home.frame("SELECT value, uncertainty FROM reading WHERE metric LIKE 'case%'").rows()
    assert cold == (-3.5, pytest.approx(1.0))


def test_units_are_ranked_in_it(home: Catalogue) -> None:
    """60 W to 120 W in steps of 10 W; sessions may differ by 5 % where nothing is known."""
    lines = {line.metric: line for line in home.compare("u0").lines}
    line = lines["mains_draw"]
    assert (line.title, line.n, line.status) == ("Mains draw at idle", 7, "entered")
    assert line.rank is not None
    assert line.rank[0] == 1
    assert line.rank[1] < 4
    assert lines["case_temperature"].rank is None
    assert "mains draw" not in " ".join(home.compare("u0").sentences[-1:]).lower()


def test_it_is_queried_charted_and_held_against_other_facts(home: Catalogue) -> None:
    rows = home.query("mains-draw", unit="u2")
    assert rows["value"].to_list() == [60.0 + 10 * n for n in range(7)]
    assert rows.filter(rows["marked"])["unit_key"].to_list() == ["u2"]
    text = json.dumps(home.chart("mains-draw", unit="u2").to_dict())
    assert "Mains draw at idle" in text
    assert home.query("case-temperature")["unit_key"].to_list() == ["u0"]
    assert "case-temperature" in home.queries()


def test_the_page_of_metrics_has_a_chapter_for_it(home: Catalogue) -> None:
    """What a sheet with a scorecard asks for, too."""
    with home.reading():
        own = by_family()[OWN_FAMILY]
        assert [metric.name for metric in own] == ["mains_draw", "case_temperature"]


def test_old_records_may_call_it_otherwise(home: Catalogue) -> None:
    with home.reading():
        assert metric_called("Power consumption") == "mains_draw"
        assert metric_called("Mains draw at idle") == "mains_draw"


def test_it_is_known_in_its_own_catalogue_alone(home: Catalogue, tmp_path: Path) -> None:
    other = small_catalogue(tmp_path / "other")
    assert "mains_draw" not in registry().metrics
    _, refused = other.ingest([review(tmp_path, "u9", "50 W")], history=False, processes=1)
    assert "metric 'mains_draw'" in str(refused[0].error)
    with home.reading():
        assert "mains_draw" in registry().metrics


def test_another_instrument_makes_recompute_read_the_figures_anew(tmp_path: Path) -> None:
    home = small_catalogue(tmp_path / "home")
    settings_of(home, OWN)
    home.ingest([review(tmp_path, "u1", "80 W")], history=False, processes=1)
    path = home.places.root / "backbench.toml"
    path.write_text(path.read_text().replace('"0.3 W"', '"2 W"'))
    home.recompute(history=False, processes=1)
    (u,) = home.frame("SELECT uncertainty FROM reading JOIN metric USING (metric, method_version)")[
        "uncertainty"
    ]
    assert u == pytest.approx((2**2 + 0.32**2) ** 0.5)


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ('[quantity.thd]\ntitle = "x"\nunit = "%"\nbetter = "lower"', "a name of its own"),
        ('[quantity.bias]\ntitle = "x"\nunit = "furlong"\nbetter = "lower"', "one of V, W"),
        ('[quantity.bias]\ntitle = "x; y"\nunit = "A"\nbetter = "lower"', "without ;"),
        ('[quantity.bias]\ntitle = "x"\nunit = "A"\nbetter = "lower"\nuncertainty = "1 W"',
         "an uncertainty in A"),
    ],
)  # fmt: skip
def test_a_quantity_that_cannot_stand_is_a_fault(written: str, words: str, tmp_path: Path) -> None:
    home = small_catalogue(tmp_path / "home")
    settings_of(home, written)
    with pytest.raises(UserError, match=r"backbench.toml") as raised:
        _ = home.settings
    assert words in str(raised.value)


def test_a_negative_amount_is_refused(tmp_path: Path) -> None:
    home = small_catalogue(tmp_path / "home")
    settings_of(home, OWN)
    _, refused = home.ingest([review(tmp_path, "u1", "-8 W")], history=False, processes=1)
    assert "negative" in str(refused[0].error)


def test_a_sheet_with_its_title_as_heading_is_mapped(home: Catalogue, tmp_path: Path) -> None:
    old = tmp_path / "old.csv"
    old.write_text("Maker,Model,Reviewed,Mains draw at idle (W)\nMarrowgate,Tern 9,2014-05-01,88\n")
    words = ["--map", tmp_path / "old.toml", "--propose", "-c", home.places.root]
    commands_run.run("backfill", old, *words, codes=(0, 3))
    written = (tmp_path / "old.toml").read_text()
    assert 'metric = "mains_draw"' in written
    assert 'date = {column = "Reviewed"' in written


def test_a_figure_without_an_uncertainty_is_told_before_and_after_the_ingest(
    tmp_path: Path,
) -> None:
    home = small_catalogue(tmp_path / "home")
    settings_of(home, '[quantity.trip]\ntitle = "Trip"\nunit = "V"\nbetter = "higher"\n')
    home.places.bring_into_force()
    folder = review(tmp_path, "u1", "2 V", "trip")
    warnings = check(folder, home.places.settings).warnings
    assert any("no uncertainty is stated of Trip" in line for line in warnings)
    home.ingest([folder], history=False, processes=1)
    said = commands_run.run("readings", "r-u1", "-c", home.places.root).output
    assert "no uncertainty stated" in said


def test_faulty_settings_are_a_fault_of_the_list_of_metrics(tmp_path: Path) -> None:
    home = small_catalogue(tmp_path / "home")
    settings_of(home, '[quantity.trip]\ntitle = "Trip"\nunit = "V"\n')
    with pytest.raises(UserError, match=r"quantity\.trip\.better"):
        commands_run.run("metrics", "-c", home.places.root)
