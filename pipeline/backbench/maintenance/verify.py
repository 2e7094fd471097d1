"""A catalogue held against itself: original bytes, ledger, database, and what ties them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from backbench.documents.accepted_manifest import accepted_manifest
from backbench.errors import Fault, UserError
from backbench.ingest.sound_entries import sound_figures
from backbench.maintenance.verify_rows import REBUILD, row_faults
from backbench.storage.catalogue_paths import CataloguePaths
from backbench.storage.database import DATABASE_NAME, Database, reading
from backbench.storage.settings_history import settings_faults
from backbench.storage.vault import RESTORE, Receipt, read_receipt, refuse_changed

if TYPE_CHECKING:
    import polars as pl

Progress = Callable[[int], None]


@dataclass
class Report:
    """What was looked at, and what was found.

    faults: what is damaged or contradicts itself, by place.
    gaps: where the database doesn't yet say what ledger and settings say of a review; a command
    that was broken off left them, and the next one that changes the catalogue closes them.
    withdrawn: reviews that are out of the database, their originals kept.
    orphans: kept originals that no receipt names (of a review that was refused, or a run that
    broke off); harmless.
    """

    originals: int = 0
    bytes: int = 0
    receipts: int = 0
    withdrawn: int = 0
    readings: int = 0
    faults: list[Fault] = field(default_factory=list)
    gaps: list[str] = field(default_factory=list)
    orphans: list[str] = field(default_factory=list)

    def frame(self) -> pl.DataFrame:
        """A row a finding: its sort, the place, and for faults what is expected and to be done."""
        import polars as pl

        rows = [
            *(("fault", one.where, one.found, one.expected, one.remedy) for one in self.faults),
            *(("not taken in", gap, "", "", "`backbench recompute` takes it in")
              for gap in self.gaps),
            *(("left over", orphan, "an original that no receipt names", "", "")
              for orphan in self.orphans),
        ]  # fmt: skip
        heads = ("finding", "place", "found", "expected", "remedy")
        return pl.DataFrame(rows, schema=dict.fromkeys(heads, pl.String), orient="row")


def verify(places: CataloguePaths, progress: Progress) -> Report:
    """Hash every original again, read every receipt, and trace every row. Changes nothing.

    progress is called for each original. Damage is reported, never raised.
    """
    report = Report()
    present: Mapping[str, str] = {}
    try:
        settings = places.settings
        present = {former: settings.unit_key(former) for former in settings.aliases}
    except UserError as error:
        report.faults += error.faults
    report.faults += settings_faults(places.root, places.ledger.folder)
    receipts = _receipts(places, report)
    whole = _originals(places, report, progress)
    _named(places, receipts, whole, report)
    if receipts or (places.database / DATABASE_NAME).exists():
        _database(places, receipts, whole, report, present)
    return report


def _receipts(places: CataloguePaths, report: Report) -> list[Receipt]:
    """The readable receipts in order; numbers must count from 1 without a gap."""
    receipts: list[Receipt] = []
    for path in sorted(places.ledger.folder.glob("[0-9]*.json")):
        try:
            receipt = read_receipt(path)
        except (UserError, OSError) as error:
            report.faults += _faults_of(error, path)
            continue
        if path.stem != f"{receipt.number:06d}":
            expected = f"{receipt.number:06d}.json"
            report.faults.append(Fault(str(path), f"receipt {receipt.number}", expected, RESTORE))
        receipts.append(receipt)
    report.receipts = len(receipts)
    newest = {receipt.review: receipt for receipt in receipts}
    report.withdrawn = sum(receipt.withdrawn is not None for receipt in newest.values())
    report.faults += _missing_receipts(places)
    return receipts


def _missing_receipts(places: CataloguePaths) -> Iterator[Fault]:
    """A fault for each number that was given and has no receipt."""
    numbers = {int(path.stem) for path in places.ledger.folder.glob("[0-9]*.json")}
    for missing in sorted(set(range(1, max(numbers, default=0))) - numbers):
        where = str(places.ledger.folder / f"{missing:06d}.json")
        yield Fault(where, "no such file", "a receipt for every number", RESTORE)


def _originals(places: CataloguePaths, report: Report, progress: Progress) -> set[str]:
    """Hashes of the originals whose bytes are as they were received."""
    whole: set[str] = set()
    for path in vault_files(places.vault.folder):
        try:
            refuse_changed(path, path.name, path.name[:12])
            whole.add(path.name)
            report.bytes += path.stat().st_size
        except UserError as error:
            report.faults += error.faults
        report.originals += 1
        progress(1)
    return whole


def vault_files(folder: Path) -> Iterator[Path]:
    """Every file that bears a hash as its name, in order; files half-written bear none."""
    for path in sorted(folder.glob("??/*")):
        if len(path.name) == 64 and path.name.startswith(path.parent.name):
            yield path


def named_originals(receipts: Iterable[Receipt]) -> dict[str, str]:
    """Every original that a receipt names, by hash, with where it is named first."""
    named: dict[str, str] = {}
    for receipt in receipts:
        named.setdefault(receipt.manifest, f"{receipt.review}, manifest")
        for name, received in receipt.files.items():
            if received.sha256:
                named.setdefault(received.sha256, f"{receipt.review}, {name}")
    return named


def no_original(where: str, path: Path) -> Fault:
    """An original that a receipt names and that is not there."""
    return Fault(where, f"no file {path}", "the original", RESTORE)


def _named(
    places: CataloguePaths, receipts: list[Receipt], whole: set[str], report: Report
) -> None:
    """Every original that a receipt names must be there; one that none names is an orphan."""
    named = named_originals(receipts)
    for sha256, where in named.items():
        path = places.vault.path(sha256)
        if sha256 not in whole and not path.exists():
            report.faults.append(no_original(where, path))
    report.orphans += sorted(whole - named.keys())


def _database(
    places: CataloguePaths,
    receipts: list[Receipt],
    whole: set[str],
    report: Report,
    present: Mapping[str, str],
) -> None:
    try:
        with reading(places.database) as store:
            report.readings = int(store.rows("SELECT count(*) FROM reading")[0][0])
            _loaded(store, receipts, report)
            _renamed(store, present, report)
            report.faults += row_faults(store)
            report.faults += _traced(store, receipts)
            report.faults += _entered(store, places, whole)
    except (UserError, OSError) as error:
        report.faults += _faults_of(error, places.database / DATABASE_NAME)


def _loaded(store: Database, receipts: list[Receipt], report: Report) -> None:
    """The database must show the newest receipt of each review, and none that is withdrawn."""
    newest = {receipt.review: receipt for receipt in receipts}
    known = {(receipt.review, receipt.number): receipt for receipt in receipts}
    shown = store.rows("SELECT review_key, receipt, manifest_sha256 FROM review")
    for key, number, sha256 in shown:
        receipt = known.get((key, number))
        if receipt is None or receipt.manifest != sha256:
            where, found = f"{DATABASE_NAME}, review {key}", f"receipt {number}"
            report.faults.append(Fault(where, found, "a receipt of the ledger", REBUILD))
    loaded = {key: number for key, number, _ in shown}
    report.gaps += [
        f"{key}: receipt {receipt.number} is not in the database yet"
        for key, receipt in newest.items()
        if receipt.withdrawn is None and loaded.get(key, 0) < receipt.number
    ]
    report.gaps += [
        f"{key}: withdrawn, but still in the database"
        for key, receipt in newest.items()
        if receipt.withdrawn is not None and key in loaded
    ]


def _renamed(store: Database, present: Mapping[str, str], report: Report) -> None:
    """Units must stand under their present keys. present: of each former key."""
    rows = store.rows("SELECT DISTINCT unit_key, review_key FROM appearance ORDER BY ALL")
    report.gaps += [
        f"{review}: the unit {unit} is not called {present[unit]} in the database yet"
        for unit, review in rows
        if unit in present
    ]


def _traced(store: Database, receipts: list[Receipt]) -> list[Fault]:
    """Readings must come from originals that their review's receipts name."""
    named = {(r.review, f.sha256) for r in receipts for f in r.files.values()}
    named |= {(r.review, r.manifest) for r in receipts}
    rows = store.rows("SELECT DISTINCT review_key, sha256 FROM analysis_capture ORDER BY ALL")
    return [
        Fault(
            f"{DATABASE_NAME}, {key}",
            f"readings from {sha256}",
            "a file that a receipt names",
            REBUILD,
        )
        for key, sha256 in rows
        if (key, sha256) not in named
    ]


ENTERED = """
SELECT review_key, manifest_sha256, list((output, metric, written, origin))
FROM entered JOIN reading USING (review_key, reading_key) JOIN review USING (review_key)
GROUP BY ALL ORDER BY ALL
"""


def _entered(store: Database, places: CataloguePaths, whole: set[str]) -> list[Fault]:
    """Entered readings must be the figures of their review's manifest, with their origin."""
    faults: list[Fault] = []
    for key, sha256, figures in store.rows(ENTERED):
        if sha256 not in whole:
            continue
        manifest = accepted_manifest(places.vault.read(sha256), f"{key}, manifest")
        entered = sound_figures(manifest).entered
        written = [(one.output, one.metric, one.value, one.origin) for one in entered]
        if sorted(written) != sorted(figures):
            where, what = f"{DATABASE_NAME}, review {key}", "other figures than were entered"
            faults.append(Fault(where, what, "those of its manifest", REBUILD))
    return faults


def _faults_of(error: UserError | OSError, path: Path) -> list[Fault]:
    if isinstance(error, UserError):
        return list(error.faults) or [Fault(str(path), error.what, "a file that can be read")]
    return [Fault(str(path), error.strerror or str(error), "a file that can be read")]
