"""Writes the checked-in review again: python -m backbench.seed_dataset.example"""

from __future__ import annotations

from pathlib import Path

from backbench.documents.file_names import SETTINGS_NAME
from backbench.seed_dataset.maker import write_review
from backbench.seed_dataset.scenario import settings_text

EXAMPLE = "2019-09-halyard-20"
FOLDER = Path(__file__).parent / "example_review"


def write_example(folder: Path) -> None:
    """The example's captures, manifest and settings into a folder."""
    write_review(EXAMPLE, folder)
    (folder / SETTINGS_NAME).write_text(settings_text(), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    write_example(FOLDER)
