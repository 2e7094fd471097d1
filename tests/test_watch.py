"""The inbox: which folders are whole, and a review taken in by the watching command."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from backbench.catalogue import Catalogue
from backbench.errors import UserError
from backbench.ingest.inbox import settled
from faults.small_catalogue import small_catalogue, write_review
from isolated_network import run_isolated_elsewhere
from run_server_access import count_request
from simulated import CIRCUITS

CASE = "single_ended_stage"
PICKLES = (b"\x80\x04\x95", b"\x80\x05\x95", b"gASV", b"gAWV")
"""How pickles of today's protocols begin, as bytes and in base64."""
CODE = """
import os
from backbench.cli import main
os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
main()
"""
"""The command on one processor: its pages are made without worker processes."""


def test_a_folder_is_taken_only_when_it_has_stayed_unchanged(tmp_path: Path) -> None:
    shutil.copytree(CIRCUITS / CASE, tmp_path / CASE)
    (tmp_path / "no-manifest").mkdir()
    (tmp_path / CASE / "late.wav").write_bytes(b"still being copied")
    assert settled(tmp_path, 60.0) == []
    past = time.time() - 100
    for path in (tmp_path / CASE, *(tmp_path / CASE).rglob("*")):
        os.utime(path, (past, past))
    assert settled(tmp_path, 60.0) == [tmp_path / CASE]


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def ingested(catalogue: Catalogue) -> list[str]:
    try:
        return list(catalogue.reviews()["review_key"])
    except UserError:
        return []


@pytest.mark.skipif(run_isolated_elsewhere(), reason="run by tests/faults/test_no_network.py")
def test_a_review_put_into_the_inbox_is_taken_in_and_the_site_made_anew(tmp_path: Path) -> None:
    catalogue, port = small_catalogue(tmp_path / "catalogue"), free_port()
    inbox, site = tmp_path / "inbox", catalogue.places.root / "published" / "site"
    page = site / "index.html"
    write_review(inbox / "auk", 0)
    words = [sys.executable, "-c", CODE, "watch", str(inbox), "-c", str(catalogue.places.root),
             "--every-s", "5", "--settle-s", "0", "--port", str(port)]  # fmt: skip
    quick = {
        "PREFECT_RESULTS_PERSIST_BY_DEFAULT": "true",
        "PREFECT_RUNNER_POLL_FREQUENCY": "1",
        "PREFECT_SERVER_SERVICES_SCHEDULER_RECENT_DEPLOYMENTS_LOOP_SECONDS": "1",
    }
    with (tmp_path / "log").open("wb") as log:
        watching = subprocess.Popen(words, stdout=log, stderr=log, env={**os.environ, **quick})
        try:
            give_up = time.monotonic() + 900
            while not page.exists() and time.monotonic() < give_up:
                assert watching.poll() is None, (tmp_path / "log").read_text()
                time.sleep(0.2)
            (password,) = re.findall(r"backbench:\S+", (tmp_path / "log").read_text())
            request = count_request(f"http://127.0.0.1:{port}", password)
            straight = urllib.request.build_opener(urllib.request.ProxyHandler({}))
            with straight.open(request, timeout=30) as answer:
                runs = int(answer.read())
        finally:
            watching.send_signal(signal.SIGINT)
            try:
                watching.wait(30)
            except subprocess.TimeoutExpired:
                watching.kill()
    assert ingested(catalogue), (tmp_path / "log").read_text()
    assert runs >= 1
    assert "Tern auk" in page.read_text(encoding="utf-8")
    kept = [path for path in catalogue.places.runs.rglob("*") if path.is_file()]
    assert kept
    for path in kept:
        assert not any(mark in path.read_bytes() for mark in PICKLES), path
