"""Records of a sheet as manifests, each held against the rules of a manifest before it lands."""

from __future__ import annotations

from pathlib import Path

from backbench.backfill.parse_records import Record, SheetContents
from backbench.backfill.problems import Problem
from backbench.backfill.spreadsheet import Sheet
from backbench.documents.manifest import read_manifest
from backbench.documents.toml_writing import block, table_of
from backbench.errors import Fault, UserError
from backbench.ingest.entered_figures import entered_faults
from backbench.ingest.receive import WrittenReview

ORDER = (
    "key", "maker", "model", "serial", "kind", "technology", "topology", "made", "state",
    "rated_power_w", "notes",
)  # fmt: skip


def manifests(
    sheet: Sheet, contents: SheetContents, source: Path, beside: Path
) -> tuple[dict[str, WrittenReview], list[Problem]]:
    """A manifest for each record that stands, by review key, and the reasons for the others."""
    written: dict[str, WrittenReview] = {}
    problems: list[Problem] = []
    for key, record in contents.records.items():
        text = manifest_text(record, sheet.source)
        where = f"{sheet.source}, row {', '.join(map(str, record.rows))}"
        if not record.entered:
            problems.append(
                Problem(
                    where,
                    key,
                    "no figure that can be read",
                    "correct a figure of this review, or take its rows out",
                )
            )
            continue
        try:
            faults = [one for _, one in entered_faults(read_manifest(text.encode(), key))]
        except UserError as error:
            faults = list(error.faults)
        if faults:
            problems += [_problem(where, key, fault) for fault in faults]
            continue
        written[key] = WrittenReview(text, source, (beside,))
    return written, problems


def _problem(where: str, key: str, fault: Fault) -> Problem:
    return Problem(where, key, f"{fault.where}: {fault.found}",
                   fault.remedy or f"write {fault.expected}")  # fmt: skip


def manifest_text(record: Record, source: str) -> str:
    """The manifest of one record, the same text for the same cells."""
    head = f"# Written by `backbench backfill` from {source}; correct the sheet and run it again."
    review = block(["review"], table_of({"key": record.key, **record.review}))
    units = [
        block(["unit"], table_of({name: unit.get(name) for name in ORDER}), repeated=True)
        for unit in record.units.values()
    ]
    entered = [block(["entered"], table_of(figure), repeated=True) for figure in record.entered]
    return "\n\n".join([f"{head}\n{review}", *units, *entered]) + "\n"
