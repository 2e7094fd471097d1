"""Coverage-guided fuzzing of what reads strange bytes.

Run: python tests/faults/fuzz.py KIND [SECONDS], KIND one of manifest, table, recording. Needs
atheris. Anything but a UserError is a crash; so is an input that takes 20 s or 1 GiB. Prints the
fuzzer's own figures and, at the end, executions.
"""

from __future__ import annotations

import os
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

    readers()  # they are found by looking; each must be imported here to be followed

from corpus.malformed import manifests, recordings, tables
from corpus.run_corpus import TABLE

SEEDS = {"manifest": manifests, "table": tables, "recording": recordings}
LARGEST_SEED = 20_000


def main() -> None:
    kind = sys.argv[1]
    seconds = sys.argv[2] if len(sys.argv) > 2 else "20"
    with tempfile.TemporaryDirectory() as folder:
        seeds = Path(folder) / "seeds"
        seeds.mkdir()
        for name, data in SEEDS[kind]():
            if len(data) <= LARGEST_SEED:
                (seeds / name).write_bytes(data)
        subject = Path(folder) / "subject"

        def once(data: bytes) -> None:
            try:
                if kind == "manifest":
                    read_manifest(data, "review.toml")
                    return
                subject.write_bytes(data)
                if kind == "table":
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


if __name__ == "__main__":
    main()
