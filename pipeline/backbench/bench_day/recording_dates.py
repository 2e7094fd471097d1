"""The day of a review against the days on which its files were last written."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

from backbench.documents.manifest import MANIFEST_NAME, Manifest
from backbench.quantities.counts import counted

SLACK = dt.timedelta(days=1)
"""A session that goes past midnight, or a recorder's clock in another zone."""


def dates_in_doubt(folder: Path, manifest: Manifest) -> Iterator[str]:
    """A line where the stated day lies ahead, or files were written before it.

    A file that was written later says nothing: copying and editing do that.
    """
    day = manifest.review.date
    if day > dt.date.today() + SLACK:
        yield f"{MANIFEST_NAME}: the review's date {day} is still to come: correct it"
    early = sorted(
        (written, capture.file)
        for capture in manifest.capture
        if (written := _written(folder / capture.file)) and written < day - SLACK
    )
    if early:
        written, file = early[-1]
        yield (
            f"{MANIFEST_NAME}: the review is dated {day}, but {counted(len(early), 'file')} of it "
            f"were written before that, {file} on {written}: correct the date, or check that "
            "these are this session's recordings; calibrations are chosen by the date"
        )


def _written(path: Path) -> dt.date | None:
    try:
        return dt.date.fromtimestamp(path.stat().st_mtime)
    except OSError:
        return None
