from __future__ import annotations

from collections import Counter, defaultdict
from pathlib import Path

from backbench.documents.kinds import unit_kinds
from backbench.documents.settings import calibration_for, read_settings
from backbench.seed_dataset import scenario, settings_text
from backbench.seed_dataset.published import promises
from backbench.seed_dataset.rigs import RIGS


def test_scenario_has_the_breadth_of_a_back_catalogue() -> None:
    known = scenario()
    assert len(known.units) >= 60
    assert len({unit.key for unit in known.units}) == len(known.units)
    assert {unit.technology for unit in known.units} == {
        "tube", "solid state", "hybrid", "switching",
    }  # fmt: skip
    amplifiers = {"integrated amplifier", "power amplifier", "preamplifier", "receiver"}
    assert {unit.kind for unit in known.units} == amplifiers | RIGS.keys()
    assert min(unit.made for unit in known.units) == 1955
    assert max(unit.made for unit in known.units) == 2024
    assert len({unit.maker for unit in known.units}) == 14
    assert all(unit.list_price_usd > 0 and unit.price_year >= unit.made for unit in known.units)


def test_no_unit_of_any_kind_is_without_peers() -> None:
    groups = Counter(unit_kinds()[unit.kind].group for unit in scenario().units)
    assert min(groups.values()) >= 2


def test_old_reviews_are_typed_and_the_others_recorded() -> None:
    typed = [review for review in scenario().reviews if review.is_typed]
    recorded = [review for review in scenario().reviews if not review.is_typed]
    assert len(typed) >= 5
    assert max(review.date for review in typed) < min(review.date for review in recorded)


def test_what_a_maker_promised_is_the_same_for_every_sample_of_a_model() -> None:
    by_model = defaultdict(list)
    for unit in scenario().units:
        by_model[unit.maker, unit.model].append(promises(unit))
    several = [found for found in by_model.values() if len(found) > 1]
    assert len(several) >= 6
    assert all(found.count(found[0]) == len(found) for found in several)


def test_no_unit_is_reviewed_before_it_was_made() -> None:
    for review in scenario().reviews:
        assert all(unit.made <= review.date.year for unit in review.units), review.key


def test_mono_pairs_are_two_units_on_two_tracks() -> None:
    pairs = [review for review in scenario().reviews if review.is_pair]
    assert len(pairs) >= 6
    for review in pairs:
        assert [output for _, output in review.channels] == ["left", "right"]
        assert review.channels[0][0].model == review.channels[1][0].model


def test_restorations_come_after_the_review_as_received() -> None:
    sessions = defaultdict(list)
    for review in scenario().reviews:
        for unit in review.units:
            sessions[unit.key].append(review)
    restored = [found for found in sessions.values() if found[-1].state == "restored"]
    twice = [found for found in restored if len(found) == 2]
    assert len(twice) >= 4
    for found in twice:
        assert [review.state for review in found] == ["as received", "restored"]


def test_units_that_are_measured_again_had_no_work_in_between() -> None:
    again = [review for review in scenario().reviews if "again" in review.extras]
    assert len(again) >= 3
    for review in again:
        before = [r for r in scenario().reviews if r.units == review.units and r.date < review.date]
        assert before
        assert before[-1].state == review.state
        assert not review.work


def test_settings_text_reads_as_a_catalogues_settings(tmp_path: Path) -> None:
    (tmp_path / "backbench.toml").write_text(settings_text(), encoding="utf-8")
    settings = read_settings(tmp_path)
    assert settings == scenario().settings
    assert set(settings.bench) == {"garage", "loft"}
    assert len(settings.loudspeaker) >= 2
    assert settings.listening is not None


def test_one_bench_changed_its_calibration_once_amid_its_reviews() -> None:
    settings = scenario().settings
    dates = {name: {c.since for c in bench.calibration} for name, bench in settings.bench.items()}
    assert {name: len(days) for name, days in dates.items()} == {"garage": 2, "loft": 1}
    recorded = [review for review in scenario().reviews if not review.is_typed]
    garage = [review.date for review in recorded if review.bench == "garage"]
    changed = max(dates["garage"])
    assert min(garage) < changed < max(garage)
    before = calibration_for(settings, "garage", min(garage), "50 V")
    after = calibration_for(settings, "garage", max(garage), "50 V")
    assert before.volts[1] == 78.42
    assert after.volts[1] == 80.15
