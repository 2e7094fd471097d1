"""Coverage-guided fuzzing of what reads strange bytes.

Run: python tests/faults/fuzz.py KIND [SECONDS], KIND one of manifest, table, recording, sheet,
parquet, readings. Needs atheris. Anything but a UserError is a crash; so is an input that takes
20 s or 1 GiB. Of readings, which are tables and traces that are read and then measured, the first
byte says what an input is declared as, and a figure that is no finite number is a crash. Prints the
fuzzer's own figures and, at the end, executions. Spreadsheets and Parquet are read in this process,
without the bounds that they have in a command.
"""

from __future__ import annotations

import os
import re
import sys
import tempfile
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("POLARS_MAX_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1]))

import atheris

with atheris.instrument_imports(include=["backbench", "tomllib"]):
    from backbench.documents.manifest import read_manifest
    from backbench.errors import UserError
    from backbench.readers.file_formats import read_recording, read_table, readers
    from backbench.readers.parquet import read_parquet_here

    readers()  # they are found by looking; each must be imported here to be followed

    from corpus.run_corpus import TABLE, import_sheet

from corpus.malformed import manifests, recordings, tables
from corpus.malformed_sheets import sheets
from faults.fuzzed_tables import read_and_measure, sound_tables

SEEDS = {
    "manifest": lambda: manifests(20_000),
    "table": tables, "recording": recordings, "sheet": sheets,
    "parquet": tables,
    "readings": lambda: ((f"{n}", data) for n, data in enumerate(sound_tables())),
}  # fmt: skip
TAKEN = {"table": r".*\.csv", "parquet": r".*\.parquet", "sheet": r"text-.*|.*rubbish-after.*"}
"""Seeds that a kind takes by name; all where it has none. Of workbooks the sound ones suffice."""
SHEETS = (".csv", ".xlsx", ".ods")
LARGEST_SEED = 20_000


def main() -> None:
    kind = sys.argv[1]
    seconds = sys.argv[2] if len(sys.argv) > 2 else "20"
    with tempfile.TemporaryDirectory() as folder:
        seeds = Path(folder) / "seeds"
        seeds.mkdir()
        for name, data in SEEDS[kind]():
            if len(data) <= LARGEST_SEED and re.fullmatch(TAKEN.get(kind, ".*"), name):
                (seeds / name).write_bytes(_begun(kind, name) + data)
        subject = Path(folder) / "subject"

        def once(data: bytes) -> None:
            try:
                if kind == "manifest":
                    read_manifest(data, "review.toml")
                    return
                if kind == "readings":
                    read_and_measure(data, subject)
                    return
                if kind == "sheet":
                    # The first byte says which kind of file it is taken for.
                    ending = SHEETS[data[0] % len(SHEETS)] if data else SHEETS[0]
                    sheet = subject.with_suffix(ending)
                    sheet.write_bytes(data[1:])
                    import_sheet(sheet)
                    return
                subject.write_bytes(data)
                if kind == "parquet":
                    read_parquet_here(subject, "table.parquet", TABLE)
                elif kind == "table":
                    read_table(subject, TABLE, name="table.csv")
                else:
                    read_recording(subject, name="recording.wav")
            except UserError as error:
                if any("\n" in str(fault) for fault in error.faults):
                    raise RuntimeError("a fault of more than a line") from error

        limits = [f"-max_total_time={seconds}", "-timeout=20", "-rss_limit_mb=1024",
                  "-max_len=20000", f"-artifact_prefix={tempfile.gettempdir()}/"]  # fmt: skip
        atheris.Setup([sys.argv[0], *limits, str(seeds)], once)
        atheris.Fuzz()


def _begun(kind: str, name: str) -> bytes:
    """The byte that tells a seed's kind of file."""
    ending = Path(name).suffix
    return bytes([SHEETS.index(ending)]) if kind == "sheet" and ending in SHEETS else b""


if __name__ == "__main__":
    main()
