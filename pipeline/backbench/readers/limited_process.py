"""Files whose contents may unfold without bound, read in a process that may be ended.

A file of a kilobyte can describe gigabytes, and the libraries that read such files heed no bound:
so another process reads, and is ended once it takes too much memory or time.
"""

from __future__ import annotations

import ctypes
import json
import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from backbench.errors import Fault, UserError

MEMORY_BYTES = 1 << 30
TIME_S = 30
"""Of the processor, whatever else the machine does meanwhile."""
PATIENCE_S = 300
"""By the clock, whatever the process waits for."""
LOOK_S = 0.02
_DIES_WITH_PARENT = 1  # PR_SET_PDEATHSIG of prctl(2)
_PRCTL = ctypes.CDLL(None).prctl if sys.platform == "linux" else None


class TookTooMuch(Exception):
    """The reading process was ended, or ended itself; the text says why."""


def read_in_process(module: str, request: dict[str, Any]) -> bytes:
    """What a module's reader answers to a request.

    Parameters
    ----------
    module : str
        A module that calls `serve` when it is run.
    request : dict
        Plain values, handed over as JSON.

    Raises
    ------
    UserError
        As the reader raised it.
    TookTooMuch
        Where it took more than MEMORY_BYTES, TIME_S or PATIENCE_S, or its library gave way.
    """
    # -P: no module of the folder that the command is run in is imported.
    command = [sys.executable, "-P", "-m", module]
    with tempfile.TemporaryFile() as answer, tempfile.TemporaryFile() as asked:
        asked.write(json.dumps(request).encode())
        asked.seek(0)
        child = subprocess.Popen(command, stdin=asked, stdout=answer, stderr=subprocess.DEVNULL)
        try:
            _wait(child)
        finally:
            child.kill()
            child.wait()
        answer.seek(0)
        data = answer.read()
    if child.returncode != 0 or not data:
        raise TookTooMuch("the library that reads it gave way")
    return _answered(data)


def _wait(child: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + PATIENCE_S
    while child.poll() is None:
        if _memory(child.pid) > MEMORY_BYTES:
            raise TookTooMuch("it unfolds to more than 1 GiB")
        if _time_s(child.pid) > TIME_S:
            raise TookTooMuch(f"it takes more than {TIME_S} s to read")
        if time.monotonic() > end:
            raise TookTooMuch(f"it was not read after a wait of {PATIENCE_S} s")
        time.sleep(LOOK_S)


def _memory(process: int) -> int:
    """Resident bytes of a process; 0 where the system doesn't tell."""
    try:
        pages = Path(f"/proc/{process}/statm").read_text(encoding="ascii").split()[1]
    except (OSError, IndexError):
        return 0
    return int(pages) * os.sysconf("SC_PAGE_SIZE")


def _time_s(process: int) -> float:
    """Seconds of the processor that a process took; 0 where the system doesn't tell."""
    try:
        fields = Path(f"/proc/{process}/stat").read_bytes().rpartition(b")")[2].split()
    except OSError:
        return 0.0
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _answered(data: bytes) -> bytes:
    head, _, rest = data.partition(b"\n")
    if head == b"read":
        return rest
    error = json.loads(rest)
    raise UserError(error["what"], [Fault(*fault) for fault in error["faults"]])


def serve(read: Callable[[dict[str, Any]], bytes]) -> None:
    """Answer the request on standard input on standard output: the work of the other process."""
    _end_with_parent()
    request = json.load(sys.stdin)
    try:
        answer = b"read\n" + read(request)
    except UserError as error:
        faults = [(f.where, f.found, f.expected, f.remedy) for f in error.faults]
        answer = b"refused\n" + json.dumps({"what": error.what, "faults": faults}).encode()
    sys.stdout.buffer.write(answer)
    sys.stdout.buffer.flush()
    os._exit(0)


def _end_with_parent() -> None:
    """Ended by the system with the process that started this one, and in any case some time."""
    signal.alarm(2 * PATIENCE_S)
    resource.setrlimit(resource.RLIMIT_CPU, (2 * TIME_S, 2 * TIME_S))
    die_with_parent()


def die_with_parent() -> None:
    """Have the system end this process with the one that started it, however that one ends.

    It may be called in a child before its own program begins, which keeps it.
    """
    if _PRCTL is not None:
        _PRCTL(_DIES_WITH_PARENT, signal.SIGKILL)
