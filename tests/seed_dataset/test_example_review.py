from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from backbench.documents.manifest import read_manifest
from backbench.documents.settings import read_settings
from backbench.seed_dataset import settings_text
from backbench.seed_dataset.example import EXAMPLE, FOLDER, write_example


def test_checked_in_review_is_what_the_maker_writes(tmp_path: Path) -> None:
    """Decoded samples within two steps of 20 bits: mathematics libraries may round otherwise."""
    write_example(tmp_path)
    names = sorted(path.name for path in FOLDER.iterdir())
    assert names == sorted(path.name for path in tmp_path.iterdir())
    for name in names:
        if name.endswith(".flac"):
            kept, rate = soundfile.read(FOLDER / name, dtype="int32")
            made, made_rate = soundfile.read(tmp_path / name, dtype="int32")
            assert rate == made_rate
            assert np.max(np.abs(kept // 4096 - made // 4096)) <= 2, name
        else:
            assert (FOLDER / name).read_bytes() == (tmp_path / name).read_bytes()


def test_checked_in_review_is_a_whole_catalogue_input_of_little_size() -> None:
    manifest = read_manifest((FOLDER / "review.toml").read_bytes())
    assert manifest.review.key == EXAMPLE
    assert 15 <= len(manifest.capture) <= 25
    assert manifest.review.bench in read_settings(FOLDER).bench
    assert (FOLDER / "backbench.toml").read_text(encoding="utf-8") == settings_text()
    assert sum(path.stat().st_size for path in FOLDER.iterdir()) <= 8e6
