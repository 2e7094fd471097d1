"""Values at test points, and what units differ by between sessions, are kept as tables: after every
change they are as worked out anew."""

from __future__ import annotations

from pathlib import Path

import pytest

from backbench.catalogue import Catalogue
from backbench.maintenance.corrections import withdraw
from backbench.storage import database
from faults.small_catalogue import set_calibration, small_catalogue, write_review

KEPT = "FROM value_at_point ORDER BY ALL"
WORKED_OUT = "FROM worked_out_at_point ORDER BY ALL"
BETWEEN = "FROM between_sessions ORDER BY ALL"
BETWEEN_ANEW = "FROM worked_out_between_sessions(NULL) ORDER BY ALL"


def standing(catalogue: Catalogue) -> set[str]:
    """Reviews whose values stand for their units, once the kept rows are the ones worked out."""
    with database.reading(catalogue.places.database) as store:
        kept = store.rows(KEPT)
        assert kept
        assert kept == store.rows(WORKED_OUT)
        assert store.rows(BETWEEN) == store.rows(BETWEEN_ANEW)
        return {str(key) for (key,) in store.rows("SELECT DISTINCT review_key FROM placed")}


def take_in(catalogue: Catalogue, *folders: Path) -> None:
    outcomes, refused = catalogue.ingest(list(folders), history=False, processes=1)
    assert (len(outcomes), refused) == (len(folders), [])


def review(folder: Path, day: str, state: str, unit: str = "unit-of-auk") -> Path:
    """A review of one unit on a day."""
    write_review(folder, 0)
    manifest = folder / "review.toml"
    text = manifest.read_text().replace("2024-06-01", day).replace('"serviced"', f'"{state}"')
    manifest.write_text(text.replace(f"unit-of-{folder.name}", unit))
    return folder


@pytest.fixture
def catalogue(tmp_path: Path) -> Catalogue:
    return small_catalogue(tmp_path / "catalogue")


def test_they_follow_a_unit_through_its_reviews(catalogue: Catalogue, tmp_path: Path) -> None:
    before = review(tmp_path / "auk", "2024-06-01", "as received")
    take_in(catalogue, before, review(tmp_path / "brant", "2024-06-01", "serviced", "other"))
    assert standing(catalogue) == {"auk", "brant"}
    take_in(catalogue, review(tmp_path / "crake", "2024-06-02", "restored"))
    assert standing(catalogue) == {"brant", "crake"}
    take_in(catalogue, review(tmp_path / "crake", "2024-06-02", "restored", "renamed"))
    assert standing(catalogue) == {"auk", "brant", "crake"}
    take_in(catalogue, review(tmp_path / "crake", "2024-05-01", "modified"))
    assert standing(catalogue) == {"auk", "brant"}
    with catalogue.places.changing():
        withdraw(catalogue.places, "auk", "wrong load")
    catalogue.carry_on()
    assert standing(catalogue) == {"brant", "crake"}


def test_the_spread_follows_a_unit_that_is_measured_again(
    catalogue: Catalogue, tmp_path: Path
) -> None:
    """Of two sessions and of none: a withdrawn session is forgotten with its figures."""
    take_in(catalogue, review(tmp_path / "auk", "2024-06-01", "serviced"))
    assert spread_of(catalogue) == ([], 0)
    take_in(catalogue, review(tmp_path / "crake", "2024-06-02", "serviced"))
    assert standing(catalogue) == {"crake"}
    units, sessions = spread_of(catalogue)
    assert units == [("unit-of-auk", 2)]
    assert sessions > 0
    with catalogue.places.changing():
        withdraw(catalogue.places, "crake", "wrong load")
    catalogue.carry_on()
    assert spread_of(catalogue) == ([], 0)


def spread_of(catalogue: Catalogue) -> tuple[list[tuple[str, int]], int]:
    """Units that are kept with their sessions, and the sessions that spreads were observed from."""
    with database.reading(catalogue.places.database) as store:
        units = store.rows("SELECT DISTINCT unit_key, sessions FROM between_sessions")
        ((sessions,),) = store.rows("SELECT sum(sessions) FROM session_spread")
        return units, int(sessions)


def test_they_follow_settings_and_methods(catalogue: Catalogue, tmp_path: Path) -> None:
    take_in(catalogue, review(tmp_path / "auk", "2024-06-01", "as received"))
    set_calibration(catalogue, 5.0)
    catalogue.recompute(history=False, processes=1)
    assert standing(catalogue) == {"auk"}
    with database.writing(catalogue.places.database) as store:
        store.run("UPDATE metric SET method_version = method_version - 1")
        store.run("DELETE FROM value_at_point")  # as a program of those methods would have them
        assert store.rows(WORKED_OUT) == []
    take_in(Catalogue(catalogue.places.root))
    assert standing(catalogue) == {"auk"}
    with (catalogue.places.root / "backbench.toml").open("a") as settings:
        settings.write(OWN_POINT)
    take_in(Catalogue(catalogue.places.root))
    assert standing(catalogue) == {"auk"}
    with database.reading(catalogue.places.database) as store:
        assert store.rows("SELECT 1 FROM placed WHERE point_key = 'own-5khz'")


OWN_POINT = """
[[test_point]]
key = "own-5khz"
title = "5 kHz, of a response"
stimulus = "response table"
frequency_hz = 5000
"""
