"""Every command where there is no network but loopback: nothing is looked up outside."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import test_command_lines as lines
from installed_chromium import chromium
from isolated_network import INSIDE, isolation_possible

PROXIES = ("HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY", "http_proxy", "https_proxy", "all_proxy")


LISTEN = """
import socket, subprocess, sys
names = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
names.bind(("127.0.0.1", 53))
names.setblocking(False)
ran = subprocess.run([sys.executable, "-c", sys.argv[1], *sys.argv[2:]])
try:
    print("looked up:", names.recv(512))
except BlockingIOError:
    print("nothing looked up")
sys.exit(ran.returncode)
"""
PRINT = """
import sys
from pathlib import Path
from backbench.publish.browser import find_browser, printed
page = b"<!doctype html><title>a sheet</title><img src='https://pictures.example/a.png'><p>text"
Path(sys.argv[1]).write_bytes(printed(page, find_browser()))
"""


@pytest.mark.skipif(not isolation_possible(), reason="network namespaces are not permitted here")
def test_the_printing_browser_looks_nothing_up(tmp_path: Path) -> None:
    chromium()
    (tmp_path / "resolv.conf").write_text("nameserver 127.0.0.1\n")
    script = (
        'ip link set lo up; mount --bind "$1" /etc/resolv.conf || exit 8; '
        f'exec "{sys.executable}" -c "$2" "$3" "$4"'
    )
    ran = subprocess.run(
        ["unshare", "-rnm", "sh", "-c", script, "sh", tmp_path / "resolv.conf", LISTEN, PRINT,
         tmp_path / "sheet.pdf"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if ran.returncode == 8:
        pytest.skip("mounting is not permitted here")
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "nothing looked up" in ran.stdout
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.skipif(not isolation_possible(), reason="network namespaces are not permitted here")
def test_every_command_needs_loopback_only(tmp_path: Path) -> None:
    """One line of each command that the documents give, and a watched inbox, by their own tests.

    Those are left out of the ordinary run, so that each is run once.
    """
    of_lines = lines.test_a_command_line_that_is_given_runs.__name__
    tests = [
        "tests/test_watch.py::test_a_review_put_into_the_inbox_is_taken_in_and_the_site_made_anew",
        *(f"tests/test_command_lines.py::{of_lines}[{one}]" for one in lines.FIRST_OF_EACH),
    ]
    script = (
        'ip link set lo up; test -z "$(ip route)" || exit 9; '
        f'exec "{sys.executable}" -m pytest -n0 -p no:cacheprovider --basetemp="$0" "$@"'
    )
    ran = subprocess.run(
        ["unshare", "-rn", "sh", "-c", script, tmp_path / "isolated", *tests],
        capture_output=True, text=True, check=False, cwd=Path(__file__).parents[2],
        env={**os.environ, INSIDE: "1", **dict.fromkeys(PROXIES, "http://192.0.2.1:3128")},
    )  # fmt: skip
    assert ran.returncode == 0, ran.stdout[-3000:] + ran.stderr[-1000:]
    assert f"{len(tests)} passed" in ran.stdout
