"""Processes that work for a command end with it, however it ends."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from backbench.errors import UserError
from backbench.ingest.malloc_tuning import keep_freed
from backbench.storage.process_pool import started_pool
from processes import alive

STARTED = """
import sys, time
from pathlib import Path
from backbench.ingest.worker_pool import Workers
from backbench.progress import nothing

def start():
    workers = Workers(Path(sys.argv[1]), 2, nothing)
    pool = workers._started()
    for one in [pool.submit(time.sleep, 1.0) for _ in range(2)]:
        one.result()
    return pool

if __name__ == "__main__":
    pool = start()
    print(*pool._processes, flush=True)
    pool.submit(time.sleep, 600)
    time.sleep(600)
"""


@pytest.mark.parametrize("ending", [signal.SIGKILL, signal.SIGTERM])
def test_workers_end_with_their_parent(tmp_path: Path, ending: int) -> None:
    script = tmp_path / "start.py"
    script.write_text(STARTED)
    parent = subprocess.Popen(
        [sys.executable, script, tmp_path], stdout=subprocess.PIPE, text=True, env=dict(os.environ)
    )
    assert parent.stdout is not None
    with parent.stdout:
        workers = [int(number) for number in parent.stdout.readline().split()]
    assert len(workers) == 2
    assert all(alive(worker) for worker in workers)
    parent.send_signal(ending)
    parent.wait()
    give_up = time.monotonic() + 5
    while any(alive(worker) for worker in workers) and time.monotonic() < give_up:
        time.sleep(0.1)
    left = [worker for worker in workers if alive(worker)]
    for worker in left:
        os.kill(worker, signal.SIGKILL)
    assert not left


PRINTING = """
import os, sys
from backbench.publish.browser import run_browser
print(os.getpid(), flush=True)
run_browser(["sh", "-c", 'echo $$ > "$0"; exec sleep 600', sys.argv[1]])
"""


def test_a_browser_that_prints_ends_with_its_starter(tmp_path: Path) -> None:
    number = tmp_path / "number"
    parent = subprocess.Popen([sys.executable, "-c", PRINTING, number], stdout=subprocess.PIPE)
    give_up = time.monotonic() + 60
    while not (number.exists() and number.read_text().strip()) and time.monotonic() < give_up:
        time.sleep(0.05)
    browser = int(number.read_text())
    assert alive(browser)
    parent.kill()
    parent.communicate()
    give_up = time.monotonic() + 5
    while (left := alive(browser)) and time.monotonic() < give_up:
        time.sleep(0.05)
    if left:
        os.kill(browser, signal.SIGKILL)
    assert not left


def test_too_little_shared_memory_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("multiprocessing.synchronize.SemLock._make_name", full)
    with pytest.raises(UserError, match=r"shared memory \(/dev/shm\): found No space left"):
        started_pool(2, keep_freed, ())
