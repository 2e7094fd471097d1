"""One recording that a manifest states as several captures."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from backbench.documents.file_names import MANIFEST_NAME
from backbench.documents.manifest import Capture, Manifest
from backbench.documents.refused_entries import PlacedFault
from backbench.errors import Fault
from backbench.ingest.reading_rows import canonical
from backbench.storage.vault import Received


def copy_faults(manifest: Manifest, files: Mapping[str, Received]) -> Iterator[PlacedFault]:
    """A fault for each capture whose bytes stand under an earlier name at equal conditions.

    Two sessions never give the same bytes: one of the names is a copy, and its readings would
    count twice. The same recording under other conditions or tracks may be meant: one file can
    hold two outputs that are described apart.
    """
    hashes = {one.file: files[one.file].sha256 for one in manifest.capture if one.file in files}
    number = Counter(sha256 for sha256 in hashes.values() if sha256)
    first: dict[tuple[str, str], str] = {}
    for position, capture in manifest.numbered(manifest.capture, "capture"):
        sha256 = hashes.get(capture.file)
        if sha256 and number[sha256] > 1:
            original = first.setdefault((sha256, _statement(manifest, capture)), capture.file)
            if original != capture.file:
                yield ("capture", position), _fault(position, capture.file, original)


def _fault(position: int, file: str, original: str) -> Fault:
    return Fault(
        f"{MANIFEST_NAME}, capture {position}", f"the same recording as {original} in {file}",
        "each recording once", "name the recording that was meant, or take the entry out",
    )  # fmt: skip


def _statement(manifest: Manifest, capture: Capture) -> str:
    """All that the manifest says of a capture but its file and notes."""
    tracks = {n: role.model_dump() for n, role in manifest.tracks_of(capture).items()}
    stated = [
        capture.stimulus.model_dump(mode="json"), manifest.conditions_of(capture).model_dump(),
        tracks, capture.loop_back,
    ]  # fmt: skip
    return canonical(stated)
