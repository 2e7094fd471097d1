"""What a review's sheet says, without its pictures, which take most of the time that it takes."""

from __future__ import annotations

from pathlib import Path

import pytest

from commands_run import run

PICTURES = "backbench.publish.sheet_content.PICTURES"


def sheet_text(review: str, page: Path, catalogue: Path) -> str:
    """The sheet made by its command; its table of figures and its sentences are all there."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(PICTURES, ())
        run("sheet", review, page, "-c", catalogue)
    return page.read_text(encoding="utf-8")
