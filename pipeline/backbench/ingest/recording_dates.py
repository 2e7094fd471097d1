"""The day of a review against the days on which its files were last written."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from backbench.documents.file_names import MANIFEST_NAME
from backbench.documents.validation import parse_toml
from backbench.errors import UserError
from backbench.quantities.counts import counted
from backbench.storage.vault import Ledger, Receipt, Received, Vault

if TYPE_CHECKING:
    from backbench.documents.manifest import Manifest

SLACK = dt.timedelta(days=1)
"""A session that goes past midnight, or a recorder's clock in another zone."""


def dates_in_doubt(manifest: Manifest, written: Mapping[str, str | None]) -> Iterator[str]:
    """A line where the stated day lies ahead, or captures of units were written before it.

    A file that was written later says nothing: copying and editing do that. A loop-back may be
    of an earlier day. written: the day on which each file was last written.
    """
    day = manifest.review.date
    if day > dt.date.today() + SLACK:
        yield f"{MANIFEST_NAME}: the review's date {day} is still to come: correct it"
    own = [capture.file for capture in manifest.capture if not capture.loop_back]
    days = [(dt.date.fromisoformat(last), file) for file in own if (last := written.get(file))]
    early = sorted(pair for pair in days if pair[0] < day - SLACK)
    if early:
        latest, file = early[-1]
        yield (
            f"{MANIFEST_NAME}: the review is dated {day}, but {counted(len(early), 'file')} of it "
            f"were written before that, {file} on {latest}: correct the date, or check that "
            "these are this session's recordings; calibrations are chosen by the date"
        )


def days_written(files: Mapping[str, Received]) -> dict[str, str | None]:
    """The day on which each file of a receipt was last written, as far as it is known."""
    return {name: received.written for name, received in files.items()}


@dataclass(frozen=True)
class RecordingDates:
    """Dates in doubt of every review that the ledger holds; none where root is None."""

    root: Path | None = None

    @cached_property
    def _newest(self) -> dict[str, Receipt]:
        return Ledger(self.root / "ledger").newest() if self.root else {}

    def in_doubt(self, review_key: str) -> tuple[str, ...]:
        """A line for each; nothing where the manifest can't be had, which `verify` reports."""
        receipt = self._newest.get(review_key)
        if self.root is None or receipt is None:
            return ()
        vault, written = Vault(self.root / "vault"), days_written(receipt.files)
        try:
            if _clear(vault.read(receipt.manifest), written):
                return ()
            from backbench.ingest.receive import recall

            manifest = recall(receipt, vault)
        except UserError:
            return ()
        return tuple(dates_in_doubt(manifest, written))


def _clear(manifest: bytes, written: Mapping[str, str | None]) -> bool:
    """Whether the date alone tells that nothing is in doubt, without all else being checked.

    Raises UserError.
    """
    review = parse_toml(manifest, MANIFEST_NAME).get("review")
    day = review.get("date") if isinstance(review, dict) else None
    if type(day) is not dt.date or day > dt.date.today() + SLACK:
        return False
    return all(dt.date.fromisoformat(last) >= day - SLACK for last in written.values() if last)
