from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
import soundfile

from backbench.documents.manifest import read_manifest
from backbench.documents.settings import calibration_for
from backbench.documents.validation import parse_toml
from backbench.errors import UserError
from backbench.seed_dataset import maker, scenario, write_catalogue_inputs
from backbench.seed_dataset.maker import CUT_SHORT
from backbench.seed_dataset.manifest_text import quoted
from backbench.seed_dataset.recording import CLIPPED

RATES = {8_000, 16_000, 24_000, 32_000, 44_100, 48_000, 88_200, 96_000, 192_000}


def test_folders_come_in_order_of_date(
    written: list[Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(maker, "write_review", lambda key, target: target.mkdir(parents=True))
    folders = write_catalogue_inputs(tmp_path, workers=1)
    assert [folder.name for folder in folders] == [review.key for review in scenario().reviews]
    assert all(folder.is_dir() for folder in folders)
    made = [path.name for path in written]
    assert {path.name for path in written[0].parent.iterdir()} == set(made)
    assert made == [folder.name for folder in folders if folder.name in set(made)]


def test_every_manifest_is_valid_and_names_every_file(written: list[Path]) -> None:
    for folder in written:
        manifest = read_manifest((folder / "review.toml").read_bytes())
        assert manifest.review.key == folder.name
        if scenario().review(folder.name).is_typed:
            assert len(manifest.entered) >= 4, folder.name
        else:
            assert 8 <= len(manifest.capture) <= 41, folder.name
        named = {capture.file for capture in manifest.capture} | {"review.toml"}
        assert named == {path.name for path in folder.iterdir()}


def test_every_audio_file_fits_its_manifest_and_no_sample_is_clipped(written: list[Path]) -> None:
    settings = scenario().settings
    for folder in written:
        manifest = read_manifest((folder / "review.toml").read_bytes())
        for capture in manifest.capture:
            if capture.of is not None or _is_spoiled(folder.name, capture.file):
                continue
            words, rate = soundfile.read(folder / capture.file, dtype="int32", always_2d=True)
            assert words.shape[1] == len(manifest.tracks_of(capture))
            assert rate in RATES
            assert not (words % 256).any()  # 24 bits in 32
            assert abs(words.astype(float)).max() < 0.95 * 2**31, (folder.name, capture.file)
            used = manifest.conditions_of(capture).range
            calibration_for(settings, manifest.review.bench, manifest.review.date, used)


def _is_spoiled(key: str, file: str) -> bool:
    """Whether a file was cut short or clipped on purpose."""
    spoiled = {"cut-short": CUT_SHORT, "clipped": CLIPPED}
    return any(spoiled.get(extra) == file for extra in scenario().review(key).extras)


def test_a_file_that_was_cut_short_has_no_end(written: list[Path]) -> None:
    short = [r.key for r in scenario().reviews if "cut-short" in r.extras]
    assert short
    for folder in (folder for folder in written if folder.name in short):
        with pytest.raises(soundfile.LibsndfileError):
            soundfile.read(folder / CUT_SHORT, dtype="int32")


def test_all_files_together_stay_small(written: list[Path]) -> None:
    total = sum(path.stat().st_size for folder in written for path in folder.iterdir())
    assert total < 90e6


def test_bytes_are_the_same_for_any_number_of_workers(written: list[Path], tmp_path: Path) -> None:
    keys = [written[n].name for n in (-1, 1, len(written) // 2)]
    done: list[tuple[int, int]] = []
    again = write_catalogue_inputs(
        tmp_path, workers=1, only=keys, progress=lambda n, of: done.append((n, of))
    )
    assert [folder.name for folder in again] == sorted(keys)
    assert done == [(n, len(keys)) for n in range(1, len(keys) + 1)]
    first = {folder.name: folder for folder in written}
    for folder in again:
        assert _digests(folder) == _digests(first[folder.name])


def _digests(folder: Path) -> dict[str, str]:
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir()}


def test_an_unknown_review_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    with pytest.raises(KeyError, match="nowhere"):
        write_catalogue_inputs(tmp_path, workers=1, only=["nowhere"])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("text", ['a "quoted" name', "back\\slash", "tab\there", "del\x7f", "Ünït"])
def test_quoted_text_survives_toml(text: str) -> None:
    try:
        result = parse_toml(f"value = {quoted(text)}".encode(), "review.toml")
    except UserError as error:
        pytest.fail(str(error))
    assert result == {"value": text}
