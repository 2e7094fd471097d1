"""Writes review folders: manifest and capture files, the same bytes every time."""

from __future__ import annotations

import io
import multiprocessing
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

from backbench.documents.file_names import MANIFEST_NAME
from backbench.documents.settings import InForce
from backbench.seed_dataset.behaviour import Behaviour
from backbench.seed_dataset.bench import ranges
from backbench.seed_dataset.faults import behaviours
from backbench.seed_dataset.manifest_text import head_text, manifest_text
from backbench.seed_dataset.plan import Sheet, takes
from backbench.seed_dataset.planned_review import planned_captures, planned_tables
from backbench.seed_dataset.recording import Recording, record
from backbench.seed_dataset.response_table import response_csv, response_toml
from backbench.seed_dataset.rig import Rig
from backbench.seed_dataset.rigs import rig_of
from backbench.seed_dataset.scenario import Review, scenario
from backbench.seed_dataset.trace import trace_csv, trace_toml
from backbench.seed_dataset.typed_figures import entered_text

REVIEWS = "reviews"
CUT_SHORT = "tone-20-1w.flac"


def write_catalogue_inputs(
    folder: Path,
    *,
    workers: int,
    progress: Callable[[int, int], None] | None = None,
    only: Sequence[str] | None = None,
) -> list[Path]:
    """Write folder/reviews/<key>/ for all reviews, or those named, in order of date.

    workers: processes, >= 1; 1 works in this process. progress(done, all) after each review.
    Raises KeyError for an unknown review.
    """
    keys = _keys(only)
    targets = [folder / REVIEWS / key for key in keys]
    for done, _ in enumerate(_written(keys, targets, workers), start=1):
        if progress is not None:
            progress(done, len(keys))
    return targets


def _keys(only: Sequence[str] | None) -> list[str]:
    known = scenario()
    if only is None:
        return [review.key for review in known.reviews]
    wanted = {known.review(key).key for key in only}
    return [review.key for review in known.reviews if review.key in wanted]


def _written(keys: list[str], targets: list[Path], workers: int) -> Iterator[None]:
    """Write the reviews; yields after each."""
    if workers <= 1 or len(keys) == 1:
        for key, target in zip(keys, targets, strict=True):
            write_review(key, target)
            yield
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(min(workers, len(keys)), mp_context=context) as pool:
        waiting = [pool.submit(write_review, *pair) for pair in zip(keys, targets, strict=True)]
        for future in as_completed(waiting):
            future.result()
            yield


def write_review(key: str, target: Path) -> None:
    """One review folder: every capture, then the manifest that names them."""
    known = scenario()
    review = known.review(key)
    target.mkdir(parents=True, exist_ok=True)
    if review.is_typed:
        text = f"{head_text(review)}\n\n{entered_text(review)}\n"
        _write_text(target / MANIFEST_NAME, text)
        return
    available = ranges(known, review)
    rig = rig_of(review)
    text = _of_an_amplifier(review, available, target) if rig is None else _planned(
        review, rig, available, target
    )  # fmt: skip
    _write_text(target / MANIFEST_NAME, text)


def _planned(review: Review, rig: Rig, available: list[InForce], target: Path) -> str:
    """Write the usual captures of another kind; the manifest's text."""
    head = head_text(review)

    def write(name: str, made: Recording) -> None:
        _write_flac(target / name, made)

    entries = [*planned_captures(review, rig, head, available, write)]
    return "\n\n".join([head, *entries, *planned_tables(review.units[0], rig, target)]) + "\n"


def _of_an_amplifier(review: Review, available: list[InForce], target: Path) -> str:
    """Write every capture of an amplifier or preamplifier; the manifest's text."""
    units = behaviours(review)
    recorded = []
    for take in takes(review, units):
        made = record(review, units, take, available)
        _write_flac(target / take.file, made)
        if "cut-short" in review.extras and take.file == CUT_SHORT:
            _shorten(target / take.file)
        recorded.append((take, made.calibration.range))
    tables = list(_written_tables(review, units, target))
    return manifest_text(review, recorded, tables)


def _written_tables(review: Review, units: tuple[Behaviour, ...], target: Path) -> Iterator[Sheet]:
    """Write the tables that the review's extras name, one of each for every output."""
    for position, (unit, output) in enumerate(review.channels, start=1):
        one = units[position - 1]
        if "response-table" in review.extras:
            sheet = Sheet(f"response-{output}.csv", position, response_toml())
            _write_text(target / sheet.file, response_csv(review.key, sheet.file, one))
            yield sheet
        if "trace" in review.extras:
            sheet = Sheet(f"trace-10k-{output}.csv", position, trace_toml())
            loaded = not unit.is_preamplifier
            text = trace_csv(review.key, sheet.file, one, loaded=loaded)
            _write_text(target / sheet.file, text)
            yield sheet


def _write_text(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def _shorten(path: Path) -> None:
    """What a card that was pulled too early leaves of a file."""
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])


def _write_flac(path: Path, made: Recording) -> None:
    import soundfile

    # Into memory: written straight to a file, each is flushed to the disk before the next.
    content = io.BytesIO()
    soundfile.write(content, made.words, made.rate_hz, subtype="PCM_24", format="FLAC")
    path.write_bytes(content.getvalue())
