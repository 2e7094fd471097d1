"""One recording that a manifest states as several captures."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping

from backbench.documents.manifest import Capture, Manifest
from backbench.errors import Fault, UserError
from backbench.ingest.reading_rows import canonical
from backbench.quantities.counts import counted
from backbench.storage.vault import Received


def refuse_copies(manifest: Manifest, files: Mapping[str, Received], where: str) -> None:
    """Raises UserError where the same bytes stand under several names at equal conditions.

    Two sessions never give the same bytes: one of the names is a copy, and its readings would
    count twice. The same recording under other conditions or tracks may be meant: one file can
    hold two outputs that are described apart.
    """
    hashes = {one.file: files[one.file].sha256 for one in manifest.capture if one.file in files}
    number = Counter(sha256 for sha256 in hashes.values() if sha256)
    places: dict[tuple[str, str], list[str]] = defaultdict(list)
    for capture in manifest.capture:
        sha256 = hashes.get(capture.file)
        if sha256 and number[sha256] > 1:
            places[(sha256, _statement(manifest, capture))].append(capture.file)
    faults = [_fault(where, names) for names in places.values() if len(names) > 1]
    if faults:
        raise UserError(f"{where} has {counted(len(faults), 'fault')}", faults)


def _fault(where: str, names: list[str]) -> Fault:
    first, *others = names
    listed = ", ".join(others[:3]) + (f" and {len(others) - 3} more" if len(others) > 3 else "")
    return Fault(
        f"{where}, capture", f"the same recording as {first} in {listed}", "each recording once",
        "name the recording that was meant, or remove the copies",
    )  # fmt: skip


def _statement(manifest: Manifest, capture: Capture) -> str:
    """All that the manifest says of a capture but its file and notes."""
    tracks = {n: role.model_dump() for n, role in manifest.tracks_of(capture).items()}
    stated = [
        capture.stimulus.model_dump(mode="json"), manifest.conditions_of(capture).model_dump(),
        tracks, capture.loop_back,
    ]  # fmt: skip
    return canonical(stated)
