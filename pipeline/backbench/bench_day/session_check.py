"""A review folder looked over before it is taken in: every fault, and what is still missing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from backbench.bench_day.capture_files import found_file, recordings
from backbench.bench_day.classify_stimulus import Unknown
from backbench.bench_day.folder_scan import Listened, listened
from backbench.bench_day.level_checks import off_level
from backbench.bench_day.manifest_entries import Suggestion, suggested, unlike
from backbench.bench_day.measuring_chain import expired
from backbench.bench_day.planned_capture import Plan, PlannedStep, read_plan
from backbench.documents.manifest import MANIFEST_NAME, Capture, Manifest, read_manifest
from backbench.documents.settings import Settings
from backbench.documents.stimuli import Table
from backbench.documents.toml_writing import with_tables
from backbench.documents.validation import read_bytes
from backbench.errors import Fault, UserError
from backbench.ingest.analysis_plan import bench_faults
from backbench.ingest.published_figures import published_faults
from backbench.storage.atomic_io import write_text_file


@dataclass(frozen=True)
class Checked:
    """faults stop an ingest, or a capture of it; warnings don't. missing: planned, not recorded."""

    manifest: Manifest | None
    plan: Plan | None
    faults: list[Fault]
    warnings: list[str] = field(default_factory=list)
    missing: list[PlannedStep] = field(default_factory=list)
    suggestions: list[Suggestion] = field(default_factory=list)
    unknown: list[tuple[str, str]] = field(default_factory=list)
    taken: int = 0


def check(folder: Path, settings: Settings | None) -> Checked:
    """Look over a folder. settings: of the catalogue it is meant for, None where there is none.

    Raises UserError only where there is no manifest or plan that can be read at all.
    """
    data = read_bytes(folder / MANIFEST_NAME, "the review")
    plan = read_plan(folder)
    try:
        manifest = read_manifest(data, MANIFEST_NAME)
    except UserError as error:
        return Checked(None, plan, list(error.faults))
    found = listened(folder, recordings(folder))
    faults, warnings = list(published_faults(manifest)), []
    if settings is not None:
        faults += bench_faults(manifest, settings)
        warnings += expired(manifest, settings)
    faults += _file_faults(folder, manifest, found)
    warnings += _sounds(manifest, settings, found, plan)
    named = {Path(capture.file).as_posix() for capture in manifest.capture}
    extra = {name: item for name, item in found.items() if name not in named}
    suggestions, unknown = _suggestions(extra, plan)
    return Checked(
        manifest=manifest,
        plan=plan,
        faults=faults,
        warnings=warnings,
        missing=_missing(folder, plan),
        suggestions=suggestions,
        unknown=unknown,
        taken=len(named),
    )


def _file_faults(folder: Path, manifest: Manifest, found: dict[str, Listened]) -> Iterator[Fault]:
    for position, capture in enumerate(manifest.capture, start=1):
        where = f"{MANIFEST_NAME}, capture {position} ({capture.file})"
        if not (folder / capture.file).is_file():
            other = found_file(folder, capture.file)
            remedy = f"there is {other.name}: name that" if other else "record it, or take it out"
            yield Fault(where, "no such file", "a file in the review's folder", remedy)
            continue
        item = found.get(Path(capture.file).as_posix())
        if item is None:
            if not isinstance(capture.stimulus, Table):
                yield Fault(where, "no audio file", "a recording")
        elif item.fault:
            yield item.fault
        else:
            yield from _track_faults(manifest, capture, item, where)
        reference = getattr(capture.stimulus, "reference_file", None)
        if reference and not (folder / reference).is_file():
            yield Fault(where, f"no file {reference}", "the file that was played")


def _track_faults(
    manifest: Manifest, capture: Capture, item: Listened, where: str
) -> Iterator[Fault]:
    beyond = [n for n in manifest.tracks_of(capture) if n > item.tracks]
    if beyond:
        yield Fault(where, f"{item.tracks} tracks", f"track {max(beyond)} too, as [tracks] says")
    clipped = [n for n in item.clipped if n in manifest.tracks_of(capture)]
    if clipped:
        named = ", ".join(map(str, clipped))
        yield Fault(where, f"track {named} at digital full scale", "headroom", "use a wider range")


def _sounds(
    manifest: Manifest, settings: Settings | None, found: dict[str, Listened], plan: Plan | None
) -> Iterator[str]:
    """What is heard against what is stated, and levels against those planned."""
    for capture in manifest.capture:
        item = found.get(Path(capture.file).as_posix())
        if item is None or item.heard is None or isinstance(capture.stimulus, Table):
            continue
        instead = unlike(capture.stimulus, item.heard)
        if instead:
            yield f"{capture.file}: stated as {capture.stimulus.kind}, but {instead}"
        elif settings is not None and plan is not None:
            yield from off_level(manifest, settings, capture, item, plan)


def _missing(folder: Path, plan: Plan | None) -> list[PlannedStep]:
    """Planned steps that no file stands for yet."""
    steps = plan.step if plan else []
    return [step for step in steps if found_file(folder, step.file) is None]


def _suggestions(
    extra: dict[str, Listened], plan: Plan | None
) -> tuple[list[Suggestion], list[tuple[str, str]]]:
    suggestions, unknown = [], []
    for name, item in extra.items():
        if item.heard is None:
            unknown.append((name, item.fault.found if item.fault else "it can't be read"))
            continue
        found = suggested(name, item.heard, plan)
        if found is not None:
            suggestions.append(found)
        elif isinstance(item.heard, Unknown):
            unknown.append((name, item.heard.reason))
    order = {step.stem: n for n, step in enumerate(plan.step if plan else [])}
    suggestions.sort(key=lambda item: (order.get(Path(item.file).stem, len(order)), item.file))
    return suggestions, unknown


def accept(folder: Path, suggestions: list[Suggestion]) -> int:
    """Add the entries that are whole to the manifest; how many. Raises UserError.

    The manifest is checked with them before it is written; comments and order stay as they are.
    """
    ready = [item.table for item in suggestions if item.ready]
    if not ready:
        return 0
    path = folder / MANIFEST_NAME
    before = read_bytes(path, "the review").decode("utf-8-sig")
    text = with_tables(before, ["capture"], ready, str(path))
    read_manifest(text.encode(), MANIFEST_NAME)
    write_text_file(path, text)
    return len(ready)
