"""A review that names no capture: of entered figures, or of recordings that were forgotten."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from backbench.documents.file_names import MANIFEST_NAME
from backbench.errors import UserError
from backbench.ingest.receive import receive
from backbench.storage.vault import Vault

HEAD = """\
[review]
key = "2024-05-heron"
date = 2024-05-11
bench = "garage"
mains_hz = 50
[[unit]]
key = "heron-40"
maker = "Marrowgate"
model = "Heron 40"
kind = "integrated amplifier"
technology = "tube"
state = "serviced"
[tracks]
1 = { unit = "heron-40", output = "left" }
"""
ENTERED = """\
[[entered]]
metric = "thd"
unit = "heron-40"
output = "left"
value = "0.1 %"
origin = "notebook"
"""
CAPTURE = """\
[[capture]]
file = "{file}"
stimulus = {{ idle = "generator off" }}
conditions = {{ load_ohm = 8 }}
"""


def folder_with(folder: Path, text: str, *files: str) -> Path:
    folder.mkdir()
    (folder / MANIFEST_NAME).write_text(text)
    for name in files:
        soundfile.write(folder / name, np.zeros((100, 1)), 48000)
    return folder


@pytest.mark.parametrize(
    ("text", "files"),
    [
        (HEAD, ()), (HEAD + ENTERED, ()), (HEAD, ("played-sweep.wav",)),
        (HEAD + CAPTURE.format(file="a.wav"), ("a.wav", "spare.wav")),
        (HEAD + ENTERED + CAPTURE.format(file="../a.wav"), ("a.wav",)),
    ],
    ids=["nothing", "entered figures", "a reference that was played", "one of two is named",
         "a refused entry"],
)  # fmt: skip
def test_is_taken_in(tmp_path: Path, text: str, files: tuple[str, ...]) -> None:
    manifest, _ = receive(folder_with(tmp_path / "r", text, *files), Vault(tmp_path / "v"), {})
    assert manifest.review.key == "2024-05-heron"


@pytest.mark.parametrize("text", [HEAD, HEAD + ENTERED], ids=["nothing", "entered figures"])
def test_recordings_that_no_entry_names_are_not_passed_over(tmp_path: Path, text: str) -> None:
    folder = folder_with(tmp_path / "r", text, "b.wav", "a.wav")
    with pytest.raises(UserError) as caught:
        receive(folder, Vault(tmp_path / "v"), {})
    (fault,) = caught.value.faults
    assert fault.found == "no [[capture]], but 2 recordings in the folder, a.wav first"
    assert fault.remedy == f"`backbench check {folder} --accept` adds them"
