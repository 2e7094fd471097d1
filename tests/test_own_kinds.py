"""Kinds of unit: those of the program have plans that can be recorded, others stand in settings."""

from __future__ import annotations

from pathlib import Path

import pytest

from backbench.bench_day.bench_limits import top_hz
from backbench.bench_day.measuring_chain import chain_of
from backbench.bench_day.plan import Wishes, make_plan
from backbench.catalogue import Catalogue
from backbench.documents.kinds import kind_of_unit, shipped_kinds, unit_kinds
from backbench.documents.manifest import read_manifest
from backbench.errors import UserError
from faults.small_catalogue import small_catalogue, write_review

OWN = """
[kind."line driver"]
like = "preamplifier"
peers = "preamplifier"
also_called = ["buffer"]

[kind."studio amplifier"]
like = "power amplifier"
peers = "amplifiers"
"""
PLANNED = [name for name, kind in shipped_kinds().items() if kind.battery]


def reviewed(folder: Path, kind: str, edit: tuple[str, str] = ("", "")) -> Path:
    """A review folder whose unit is of this kind."""
    write_review(folder, 0)
    path = folder / "review.toml"
    text = path.read_text().replace('"power amplifier"', f'"{kind}"')
    path.write_text(text.replace(*edit) if edit[0] else text)
    return folder


def own_catalogue(folder: Path) -> Catalogue:
    settings = small_catalogue(folder).places.root / "backbench.toml"
    settings.write_text(settings.read_text() + OWN)
    return Catalogue(folder)


@pytest.mark.parametrize("name", PLANNED)
def test_every_kind_has_a_plan_that_the_recorder_can_take(name: str, tmp_path: Path) -> None:
    text = (reviewed(tmp_path / "auk", name) / "review.toml").read_text()
    text = text.replace('input = "only"', 'input = "phono mm"' if "phono" in name else "")
    text = text.replace('state = "serviced"', 'state = "serviced"\nrated_power_w = 20')
    manifest = read_manifest(text.encode())
    settings = small_catalogue(tmp_path / "home").settings
    plan = make_plan(manifest, chain_of(manifest, settings, 20.0), Wishes((8.0, 4.0), 96_000.0))
    own = [step for step in plan.step if not step.loop_back]
    assert own[0].stimulus.kind == "idle"
    assert len({step.stimulus.kind for step in own}) > 1
    assert all(hz <= top_hz(96_000) for step in own for hz in step.stimulus.frequencies)


def test_a_phono_stage_has_to_name_its_input(tmp_path: Path) -> None:
    manifest = read_manifest(
        (reviewed(tmp_path / "auk", "phono stage") / "review.toml").read_bytes()
    )
    settings = small_catalogue(tmp_path / "home").settings
    with pytest.raises(UserError, match="no plan") as raised:
        make_plan(manifest, chain_of(manifest, settings, 20.0), Wishes((), 96_000.0))
    assert "phono mm" in raised.value.faults[0].expected


def test_a_receiver_through_its_tuner_is_planned_as_one_and_needs_no_load(tmp_path: Path) -> None:
    edits = ('input = "only"', 'input = "FM tuner"')
    folder = reviewed(tmp_path / "auk", "receiver", edits)
    text = (folder / "review.toml").read_text().replace("load_ohm = 8", "")
    manifest = read_manifest(text.encode())
    settings = small_catalogue(tmp_path / "home").settings
    plan = make_plan(manifest, chain_of(manifest, settings, None), Wishes((), 96_000.0))
    assert any("tuner table" in note for note in plan.notes)


def test_a_kind_of_the_settings_is_ingested_with_the_peers_it_names(tmp_path: Path) -> None:
    home = own_catalogue(tmp_path / "home")
    reviews = [
        reviewed(tmp_path / "auk", "studio amplifier"), reviewed(tmp_path / "bat", "line driver"),
        reviewed(tmp_path / "crake", "power amplifier"),
    ]  # fmt: skip
    _, refused = home.ingest([*reviews], history=False, processes=1)
    assert refused == []
    groups = dict(home.frame("SELECT unit_key, kind_group FROM peer ORDER BY ALL").rows())
    assert groups == {
        "unit-of-auk": "amplifiers", "unit-of-bat": "preamplifier", "unit-of-crake": "amplifiers",
    }  # fmt: skip
    assert set(home.compare("unit-of-auk").peers.keys) == {"unit-of-auk", "unit-of-crake"}
    assert kind_of_unit("studio amplifier").drives_loudspeakers
    assert not kind_of_unit("line driver").drives_loudspeakers


def test_a_kind_is_in_force_in_its_own_catalogue_alone(tmp_path: Path) -> None:
    home, other = own_catalogue(tmp_path / "home"), small_catalogue(tmp_path / "other")
    folder = reviewed(tmp_path / "auk", "line driver")
    _, refused = other.ingest([folder], history=False, processes=1)
    assert "one of integrated amplifier" in str(refused[0].error)
    assert 'declare it in backbench.toml as [kind."' in str(refused[0].error)
    _, refused = home.ingest([folder], history=False, processes=1)
    assert refused == []
    assert "line driver" in unit_kinds()
    with other.reading():
        assert "line driver" not in unit_kinds()


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ('[kind."power amplifier"]\nlike = "receiver"', "names that no kind of the program has"),
        ('[kind.driver]\nlike = "preamp"', "preamplifier"),
    ],
)
def test_a_kind_that_cannot_stand_is_a_fault(written: str, words: str, tmp_path: Path) -> None:
    home = small_catalogue(tmp_path / "home")
    settings = home.places.root / "backbench.toml"
    settings.write_text(settings.read_text() + written)
    with pytest.raises(UserError, match=r"backbench.toml") as raised:
        _ = home.settings
    assert words in str(raised.value)
