"""A process that is begun at a command's first moment, and what is done without it."""

from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path

import pytest

from backbench.ingest.early_start import any_new
from backbench.ingest.receive import WrittenReview
from backbench.storage.process_pool import copied_process
from faults.small_catalogue import small_catalogue, write_review

BEGUN = """
import os, signal, sys
from pathlib import Path
from backbench.ingest import early_start

catalogue, review, ending = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3]
begun = early_start.worker_begun(catalogue, [review])
begun.__enter__()
(pool,) = early_start._at_hand
worker = pool.submit(os.getpid).result()
assert worker != os.getpid()
if ending == "killed":
    os.kill(worker, signal.SIGKILL)

from backbench.catalogue import Catalogue
from backbench.ingest import worker_pool

def here(*_):
    raise AssertionError("a capture analysed in the command's own process")

worker_pool.Workers._analysed_here = here
((outcome,), refused) = Catalogue(catalogue).ingest([review], history=False, processes=2)
assert not refused
print(outcome.ended.counts())
"""


@pytest.mark.parametrize("ending", ["alive", "killed"])
def test_a_review_is_measured_by_the_process_begun_early_or_by_another(
    tmp_path: Path, ending: str
) -> None:
    catalogue = small_catalogue(tmp_path)
    review = tmp_path / "review"
    write_review(review, 1)
    done = subprocess.run(
        [sys.executable, "-c", BEGUN, catalogue.places.root, review, ending],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "whole" in done.stdout
    assert not done.stderr


def test_a_review_is_new_until_its_manifest_is_kept(tmp_path: Path) -> None:
    catalogue = small_catalogue(tmp_path)
    root, review = catalogue.places.root, tmp_path / "review"
    assert not any_new(root, [review])
    write_review(review, 1)
    written = WrittenReview("", tmp_path / "sheet.csv")
    assert any_new(root, [review])
    assert not any_new(root, [written])
    catalogue.places.vault.put(review / "review.toml")
    assert not any_new(root, [review])


def test_a_process_with_threads_is_not_copied() -> None:
    ended = threading.Event()
    one = threading.Thread(target=ended.wait)
    one.start()
    assert copied_process(str, ()) is None
    ended.set()
    one.join()
