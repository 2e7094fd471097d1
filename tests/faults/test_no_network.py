"""An orchestrated ingest where there is no network but loopback: nothing is looked up outside."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from faults.small_catalogue import small_catalogue, write_review

PICKLES = (b"\x80\x04\x95", b"\x80\x05\x95", b"gASV", b"gAWV")
"""How pickles of today's protocols begin, as bytes and in base64."""
CODE = "import sys; from backbench.cli import main; sys.argv[0] = 'backbench'; main()"


def _isolated() -> bool:
    if shutil.which("unshare") is None or shutil.which("ip") is None:
        return False
    tried = subprocess.run(
        ["unshare", "-rn", "ip", "link", "set", "lo", "up"], capture_output=True, check=False
    )
    return tried.returncode == 0


@pytest.mark.skipif(not _isolated(), reason="network namespaces are not permitted here")
def test_an_orchestrated_ingest_needs_loopback_only(tmp_path: Path) -> None:
    catalogue = small_catalogue(tmp_path / "catalogue")
    write_review(tmp_path / "auk", 0)
    script = (
        'ip link set lo up; test -z "$(ip route)" || exit 9; '
        f'exec "{sys.executable}" -c "{CODE}" ingest "$1" -c "$2"'
    )
    kept = {**os.environ, "HOME": str(tmp_path), "PREFECT_RESULTS_PERSIST_BY_DEFAULT": "true"}
    ran = subprocess.run(
        ["unshare", "-rn", "sh", "-c", script, "sh", tmp_path / "auk", catalogue.places.root],
        capture_output=True, text=True, check=False, env=kept,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "auk: 2 captures measured" in ran.stdout
    runs = [path for path in (catalogue.places.root / ".runs").rglob("*") if path.is_file()]
    assert runs
    for path in runs:
        assert not any(mark in path.read_bytes() for mark in PICKLES), path
