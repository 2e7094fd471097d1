"""A review folder checked before it is ingested: every fault, and what is still missing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from backbench.bench_day.classify_stimulus import Unknown
from backbench.bench_day.folder_scan import ScannedFile, scan_files
from backbench.bench_day.level_checks import off_level
from backbench.bench_day.manifest_entries import Suggestion, suggested, unlike
from backbench.bench_day.measuring_chain import expired
from backbench.bench_day.planned_capture import Plan, PlannedStep, read_plan
from backbench.bench_day.table_entries import table_entries
from backbench.documents.accepted_manifest import accepted_manifest
from backbench.documents.file_names import MANIFEST_NAME
from backbench.documents.manifest import Capture, Manifest
from backbench.documents.settings import Settings
from backbench.documents.stimuli import Table
from backbench.documents.toml_writing import with_tables
from backbench.documents.validation import read_bytes
from backbench.errors import Fault, UserError, did_you_mean
from backbench.ingest.capture_files import found_file, recordings
from backbench.ingest.outcomes import ReviewOutcome
from backbench.ingest.receive import day_written
from backbench.ingest.recording_dates import dates_in_doubt
from backbench.ingest.sound_entries import sound_figures
from backbench.ingest.trial_run import trial
from backbench.metrics.registry import registry
from backbench.progress import Progress, nothing
from backbench.quantities.counts import counted
from backbench.quantities.sentences import first_few
from backbench.storage.atomic_io import write_text_file


@dataclass(frozen=True)
class Checked:
    """faults stop an ingest, or a capture of it; warnings don't. missing: planned, not recorded.

    ended: how the captures would end if they were ingested; None where they were not measured,
    and then unmeasured says why. unsound: a line for each of those that would not be whole and
    has no fault, and for those that contradict each other. scanned: the recordings, by name.
    """

    manifest: Manifest | None
    plan: Plan | None
    faults: list[Fault]
    warnings: list[str] = field(default_factory=list)
    missing: list[PlannedStep] = field(default_factory=list)
    suggestions: list[Suggestion] = field(default_factory=list)
    unknown: list[tuple[str, str]] = field(default_factory=list)
    taken: int = 0
    ended: ReviewOutcome | None = None
    unmeasured: str = ""
    unsound: list[str] = field(default_factory=list)
    scanned: dict[str, ScannedFile] = field(default_factory=dict)

    @property
    def sound(self) -> bool:
        """Whether an ingest would leave nothing out."""
        return not self.faults and not self.unsound


def check(
    folder: Path,
    settings: Settings | None,
    progress: Progress = nothing,
    scanned: dict[str, ScannedFile] | None = None,
) -> Checked:
    """Look over a folder. settings: of the catalogue it is meant for, None where there is none.

    Where there are settings, the captures are measured as an ingest would. scanned: the
    recordings, where an earlier look has read them. Raises UserError only where there is no
    manifest or plan that can be read at all.
    """
    data = read_bytes(folder / MANIFEST_NAME, "the review")
    plan = read_plan(folder)
    try:
        manifest = accepted_manifest(data, MANIFEST_NAME)
    except UserError as error:
        return Checked(None, plan, list(error.faults))
    if scanned is None:
        scanned = scan_files(folder, recordings(folder))
    warnings = [] if settings is None else expired(manifest, settings)
    ended, faults, unmeasured = _ended(folder, manifest, settings, progress)
    faults += _file_faults(folder, manifest, scanned, measured=ended is not None)
    faulty_files = {one.file for one in ended.faulty} if ended else set()
    faults += _unlike_stated(manifest, scanned, faulty_files)
    warnings += _levels(manifest, settings, scanned, plan)
    warnings += ended.warnings() if ended else _dates(folder, manifest)
    warnings += _without_uncertainty(manifest)
    absent = {one.file for one in manifest.capture if not (folder / one.file).is_file()}
    named = _named(manifest)
    extra = {name: item for name, item in scanned.items() if name not in named}
    suggestions, unknown = _suggestions(extra, plan)
    known = {*named, *scanned, *_other_files(manifest)}
    of_tables, no_tables = table_entries(folder, known, _outputs(manifest))
    suggestions, unknown = [*suggestions, *of_tables], [*unknown, *no_tables]
    return Checked(
        manifest=manifest,
        plan=plan,
        faults=faults,
        warnings=warnings,
        missing=_missing(folder, plan),
        suggestions=suggestions,
        unknown=unknown,
        taken=len(manifest.capture),
        ended=ended,
        unmeasured=unmeasured,
        unsound=ended.faults(without=absent) if ended else [],
        scanned=scanned,
    )


def _dates(folder: Path, manifest: Manifest) -> list[str]:
    """Doubts about the review's date, where nothing is measured."""
    files = [one.file for one in manifest.capture if (folder / one.file).is_file()]
    return [*dates_in_doubt(manifest, {name: day_written(folder / name) for name in files})]


def _outputs(manifest: Manifest) -> list[tuple[str, str]]:
    """Unit and output of everything that the review measures, in the order of the file."""
    roles = [role for one in manifest.capture for role in manifest.tracks_of(one).values()]
    roles += manifest.tracks.values()
    return [*dict.fromkeys((role.unit, role.output) for role in roles if role.unit and role.output)]


def _other_files(manifest: Manifest) -> set[str]:
    """Files that the manifest names beside its captures."""
    return {
        Path(reference).as_posix()
        for capture in manifest.capture
        if (reference := getattr(capture.stimulus, "reference_file", None))
    }


def _ended(
    folder: Path, manifest: Manifest, settings: Settings | None, progress: Progress
) -> tuple[ReviewOutcome | None, list[Fault], str]:
    """How the captures would end; None where nothing can be measured, with faults or the reason."""
    if settings is None:
        reason = "no catalogue was named, so that nothing was measured: name it with -c"
        known = sound_figures(manifest)
        return None, [fault for entry in known.refused for fault in entry.faults], reason
    try:
        return trial(folder, manifest, settings, progress), [], ""
    except UserError as error:
        return None, [*error.faults], "nothing was measured: correct the faults first"


def _file_faults(
    folder: Path, manifest: Manifest, scanned: dict[str, ScannedFile], *, measured: bool
) -> Iterator[Fault]:
    """measured: the faults of what a file holds are reported with how its capture ended."""
    named = _named(manifest)
    unnamed = [name for name in scanned if name not in named]
    for position, capture in manifest.numbered(manifest.capture, "capture"):
        where = f"{MANIFEST_NAME}, capture {position} ({capture.file})"
        if not (folder / capture.file).is_file():
            remedy = _missing_remedy(folder, capture.file, unnamed)
            yield Fault(where, "no such file", "a file in the review's folder", remedy)
            continue
        if measured:
            continue
        item = scanned.get(Path(capture.file).as_posix())
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


def _without_uncertainty(manifest: Manifest) -> list[str]:
    """The entered figures of which neither the entry nor its quantity states an uncertainty."""
    metrics = registry().metrics
    bare = [
        metrics[one.metric].title
        for one in manifest.entered
        if one.uncertainty_percent is None and one.metric in metrics
        and not metrics[one.metric].traits.instrument_known
    ]  # fmt: skip
    if not bare:
        return []
    names = first_few(dict.fromkeys(bare))
    return [
        f"no uncertainty is stated of {names}: such a figure is never said to be better or worse; "
        "write uncertainty_percent with the entry, or declare it with your quantity in "
        "backbench.toml"
    ]


def _named(manifest: Manifest) -> set[str]:
    """Every file that an entry stands for, refused ones too."""
    refused = {entry.name for entry in manifest.refused if entry.table == "capture"}
    return {Path(name).as_posix() for name in refused | {one.file for one in manifest.capture}}


def _missing_remedy(folder: Path, file: str, unnamed: list[str]) -> str:
    """What to do about a capture without its file: the file that was likely meant, if any."""
    other = found_file(folder, file)
    if other is not None:
        return f"there is {other.name}: name that"
    return did_you_mean(file, unnamed) or "record it, or take the entry out"


def _track_faults(
    manifest: Manifest, capture: Capture, item: ScannedFile, where: str
) -> Iterator[Fault]:
    beyond = [n for n in manifest.tracks_of(capture) if n > item.tracks]
    if beyond:
        yield Fault(
            where, counted(item.tracks, "track"), f"track {max(beyond)} too, as [tracks] says"
        )
    clipped = [n for n in item.clipped if n in manifest.tracks_of(capture)]
    if clipped:
        named = ", ".join(map(str, clipped))
        yield Fault(
            where,
            f"track {named} at digital full scale",
            "a level below full scale",
            "use a wider input range",
        )


def _unlike_stated(
    manifest: Manifest, scanned: dict[str, ScannedFile], faulty_files: set[str]
) -> Iterator[Fault]:
    """Captures that hold something else than is stated. faulty_files: reported already."""
    for n, capture in manifest.numbered(manifest.capture, "capture"):
        item = scanned.get(Path(capture.file).as_posix())
        if item is None or item.recognised is None or capture.file in faulty_files:
            continue
        if isinstance(capture.stimulus, Table):
            continue
        instead = unlike(capture.stimulus, item.recognised)
        if instead:
            where = f"{MANIFEST_NAME}, capture {n} ({capture.file})"
            yield Fault(where, instead, f"a {capture.stimulus.kind} as stated", CORRECT)


CORRECT = "name the file that was meant, or correct the stimulus"


def _levels(
    manifest: Manifest,
    settings: Settings | None,
    scanned: dict[str, ScannedFile],
    plan: Plan | None,
) -> Iterator[str]:
    """Levels far from those planned."""
    if settings is None or plan is None:
        return
    for capture in manifest.capture:
        item = scanned.get(Path(capture.file).as_posix())
        if item and item.recognised and not isinstance(capture.stimulus, Table):
            yield from off_level(manifest, settings, capture, item, plan)


def _missing(folder: Path, plan: Plan | None) -> list[PlannedStep]:
    """Planned steps that no file stands for yet."""
    steps = plan.step if plan else []
    return [step for step in steps if found_file(folder, step.file) is None]


def _suggestions(
    extra: dict[str, ScannedFile], plan: Plan | None
) -> tuple[list[Suggestion], list[tuple[str, str]]]:
    suggestions, unknown = [], []
    for name, item in extra.items():
        if item.recognised is None:
            unknown.append((name, item.fault.found if item.fault else "it can't be read"))
            continue
        suggestion = suggested(name, item.recognised, plan)
        if suggestion is not None:
            suggestions.append(suggestion)
        elif isinstance(item.recognised, Unknown):
            unknown.append((name, item.recognised.reason))
    order = {step.stem: n for n, step in enumerate(plan.step if plan else [])}
    suggestions.sort(key=lambda item: (order.get(Path(item.file).stem, len(order)), item.file))
    return suggestions, unknown


@dataclass(frozen=True)
class Accepted:
    """Files whose entries were added, and those whose weren't, with the reason."""

    added: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]


def accept(folder: Path, suggestions: list[Suggestion]) -> Accepted:
    """Append the suggested entries to the manifest; each that can't be costs itself alone.

    Left out are entries that are to be completed, that contradict what the file holds, or
    that the manifest can't take. Comments and order stay as they are.
    """
    path = folder / MANIFEST_NAME
    text = read_bytes(path, "the review").decode("utf-8-sig")
    before = len(accepted_manifest(text.encode(), MANIFEST_NAME).refused)
    reasons = {one.file: _not_ready(one) for one in suggestions}
    ready = [one for one in suggestions if reasons[one.file] is None]
    longer, refused = _with_entries(text, ready, before, path)
    for one in ready if refused else ():  # each by itself: which they are, and why
        longer, reasons[one.file] = _with_entries(text, [one], before, path)
        text = longer
    added = tuple(one.file for one in suggestions if reasons[one.file] is None)
    if added:
        write_text_file(path, longer)
    return Accepted(added, tuple((file, why) for file, why in reasons.items() if why))


def _with_entries(
    text: str, entries: list[Suggestion], refused_before: int, path: Path
) -> tuple[str, str | None]:
    """The manifest with more entries; why it can't take them, None where nothing speaks against it.

    Reading a manifest takes as long as all of it is: entries are added together where they can be.
    """
    if not entries:
        return text, None
    try:
        longer = with_tables(text, ["capture"], [one.table for one in entries], str(path))
        refused = accepted_manifest(longer.encode(), MANIFEST_NAME).refused[refused_before:]
    except UserError as error:
        return text, "; ".join(map(str, error.faults))
    if refused:
        return text, "; ".join(one.reason for one in refused)
    return longer, None


def _not_ready(item: Suggestion) -> str | None:
    """Why an entry is not added as it stands; None where nothing speaks against it."""
    if item.warning:
        return f"{item.warning}: name the file after what it holds, or record it again"
    if not item.ready:
        return "complete the entry shown above and write it into review.toml"
    return None
