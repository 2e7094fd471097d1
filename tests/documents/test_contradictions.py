"""Statements of a manifest that contradict each other are refused, all of them at once."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from backbench.cli import app
from backbench.documents.manifest import read_manifest
from backbench.documents.settings import read_settings
from backbench.errors import UserError
from faults.small_catalogue import MANIFEST, small_catalogue, write_review

SOUND = MANIFEST.format(key="auk", version=0, drive=0.1)
TRACK = '1 = { unit = "unit-of-auk", output = "out" }'


def faults(text: str) -> list[str]:
    with pytest.raises(UserError) as raised:
        read_manifest(text.encode())
    return [str(fault) for fault in raised.value.faults]


def test_the_manifest_is_sound_without_them() -> None:
    assert read_manifest(SOUND.encode()).review.key == "auk"


def test_one_output_on_two_tracks() -> None:
    (fault,) = faults(SOUND.replace(TRACK, TRACK + "\n" + TRACK.replace("1 =", "2 =")))
    assert "tracks 1 and 2" in fault


def test_one_track_in_two_spellings() -> None:
    other = '01 = { unit = "unit-of-auk", output = "other" }'
    (fault,) = faults(SOUND.replace(TRACK, f"{TRACK}\n{other}"))
    assert "track 1 as 1 and 01" in fault


def test_made_backwards_and_a_band_backwards_at_once() -> None:
    extra = """state = "serviced"
made = [1990, 1960]
[[unit.published]]
metric = "thd"
at_most = "1 %"
at = { band_hz = [20000, 20] }
printed_in = "leaflet"
"""
    result = faults(SOUND.replace('state = "serviced"\n', extra))
    assert len(result) == 2
    assert "write [1960, 1990]" in result[0]
    assert "write [20, 20000]" in result[1]


@pytest.mark.parametrize(
    ("made", "sound"),
    [("2025", False), ("2024", True), ("[2025, 2026]", False), ("[2020, 2025]", True)],
)
def test_made_after_the_review(made: str, sound: bool) -> None:
    text = re.sub(r"(?m)^date = .*$", "date = 2024-05-11", SOUND)
    text = text.replace('state = "serviced"\n', f'state = "serviced"\nmade = {made}\n')
    if sound:
        assert read_manifest(text.encode()).unit[0].made is not None
        return
    (fault,) = faults(text)
    assert "made: found 2025, after the review of 2024-05-11; expected a year up to 2024" in fault


def test_a_price_from_after_the_review() -> None:
    text = re.sub(r"(?m)^date = .*$", "date = 2024-05-11", SOUND)
    for year in (2024, 2025):
        price = f'list_price = {{ amount = 480, currency = "USD", year = {year} }}\n'
        priced = text.replace('state = "serviced"\n', f'state = "serviced"\n{price}')
        if year == 2024:
            assert read_manifest(priced.encode()).unit[0].list_price is not None
            continue
        (fault,) = faults(priced)
        assert "list_price.year: found 2025, after the review of 2024-05-11; expected" in fault


@pytest.mark.parametrize("other", ["./tone.wav", ".//tone.wav", "a/./b/tone.wav"])
def test_two_names_of_one_file(other: str) -> None:
    plain = "a/b/tone.wav" if other.startswith("a") else "tone.wav"
    text = SOUND.replace('file = "tone.wav"', f'file = "{plain}"')
    first = text.index("[[capture]]")
    entry = text[first : text.index("[[capture]]", first + 1)]
    copy = entry.replace(plain, other)
    (fault,) = faults(f"{text}\n{copy}")
    assert f"capture 3: found '{plain}' and '{other}' twice, here and in capture 1" in fault
    result = faults(f"{text}\n{copy.replace('1000', '2000')}")
    assert [fault.partition(":")[0] for fault in result] == [
        "review.toml, capture 1", "review.toml, capture 3",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "figure",
    [
        '[[unit.published]]\nmetric = "thd"\nat_most = "-1 %"\nprinted_in = "leaflet"\n',
        '[[entered]]\nmetric = "thd"\nunit = "unit-of-auk"\noutput = "out"\nvalue = "-1 %"\n'
        'origin = "page 1"\n',
    ],
)
def test_an_amount_below_zero(tmp_path: Path, figure: str) -> None:
    catalogue = small_catalogue(tmp_path / "catalogue")
    write_review(tmp_path / "auk", 0)
    manifest = tmp_path / "auk" / "review.toml"
    text = manifest.read_text()
    place = text.index("[tracks]") if "published" in figure else len(text)
    manifest.write_text(text[:place] + figure + "\n" + text[place:])
    (outcome,), _ = catalogue.ingest([tmp_path / "auk"], history=False, processes=1)
    assert any("thd: refused" in line and "negative" in line for line in outcome.ended.faults())


@pytest.mark.parametrize(("metric", "value"), [("gain", "-3 dB"), ("state_low", "-1 V")])
def test_a_level_below_zero_is_no_contradiction(metric: str, value: str, tmp_path: Path) -> None:
    catalogue = small_catalogue(tmp_path / "catalogue")
    write_review(tmp_path / "auk", 0)
    manifest = tmp_path / "auk" / "review.toml"
    manifest.write_text(
        manifest.read_text() + f'[[entered]]\nmetric = "{metric}"\nunit = "unit-of-auk"\n'
        f'output = "out"\nvalue = "{value}"\norigin = "page 1"\n'
    )
    _, refused = catalogue.ingest([tmp_path / "auk"], history=False, processes=1)
    assert not refused


def test_copies_of_one_recording(tmp_path: Path) -> None:
    catalogue = small_catalogue(tmp_path / "catalogue")
    folder = tmp_path / "auk"
    write_review(folder, 0)
    text = (folder / "review.toml").read_text()
    first = text.index("[[capture]]")
    entry = text[first : text.index("[[capture]]", first + 1)]
    for number in range(3):
        shutil.copy(folder / "tone.wav", folder / f"copy-{number}.wav")
        text += "\n" + entry.replace("tone.wav", f"copy-{number}.wav")
    (folder / "review.toml").write_text(text)
    (outcome,), _ = catalogue.ingest([folder], history=False, processes=1)
    copies = [one for one in outcome.ended.captures if "the same recording" in str(one.reason)]
    assert [one.file for one in copies] == [f"copy-{number}.wav" for number in range(3)]
    assert {one.state for one in copies} == {"refused"}
    again = text.replace('file = "copy-0.wav"', 'file = "copy-0.wav"\nconditions = { tap = "b" }')
    again = again[: again.index('[[capture]]\nfile = "copy-1')]
    (folder / "review.toml").write_text(again)
    (outcome,), _ = catalogue.ingest([folder], history=False, processes=1)
    assert not any("the same recording" in line for line in outcome.ended.faults())


@pytest.mark.parametrize(
    ("stimulus", "expected"), [("tone", None), ("steps, tone", None), ("response table", None),
                               ("tones", "did you mean tone?"), ("multi-tone", "multitone?")],
)  # fmt: skip
def test_a_test_point_names_a_stimulus(stimulus: str, expected: str | None, tmp_path: Path) -> None:
    catalogue = small_catalogue(tmp_path / "catalogue")
    path = catalogue.places.root / "backbench.toml"
    point = f'[[test_point]]\nkey = "own"\ntitle = "Own"\nstimulus = "{stimulus}"\n'
    path.write_text(path.read_text() + point)
    if expected is None:
        assert read_settings(path.parent).test_point[0].stimulus == stimulus
        return
    with pytest.raises(UserError) as caught:
        read_settings(path.parent)
    (fault,) = caught.value.faults
    assert fault.where.endswith(", test_point 1, stimulus")
    assert expected in str(fault)
    assert "trace table" not in str(fault)


@pytest.mark.parametrize("words", [("reviews",), ("show", "auk"), ("query", "quietest-of-a-kind")])
def test_faulty_settings_come_before_the_want_of_reviews(
    words: tuple[str, ...], tmp_path: Path
) -> None:
    point = '[[test_point]]\nkey = "own"\ntitle = "Own"\nstimulus = "tonne"\n'
    (tmp_path / "backbench.toml").write_text(point, encoding="utf-8")
    ran = CliRunner().invoke(app, [*words, "-c", str(tmp_path)])
    assert "did you mean tone?" in str(ran.exception)
