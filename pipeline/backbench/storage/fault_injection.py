"""Places where a test may break the program off; inert unless BACKBENCH_FAULT is set.

BACKBENCH_FAULT is "point:count:what": at the count-th time that the point is reached ("*" is
any point), the process kills itself ("kill"), or an OSError is raised (the name of an errno,
such as ENOSPC; with a "+" after the count, from then on every time).
"""

from __future__ import annotations

import errno
import os
import signal
from collections import Counter

VARIABLE = "BACKBENCH_FAULT"
passed: Counter[str] = Counter()
"""How often each point was reached while the variable was set."""


def reached(point: str) -> None:
    """A write, flush or rename is about to happen, or just has. Raises OSError where told to."""
    order = os.environ.get(VARIABLE)
    if order:
        _strike(order, point)


def _strike(order: str, point: str) -> None:
    wanted, count, what = order.split(":")
    passed[point] += 1
    times = passed.total() if wanted == "*" else passed[point]
    onward = count.endswith("+") and times > int(count.rstrip("+"))
    if wanted not in {"*", point} or not (onward or times == int(count.rstrip("+"))):
        return
    if what == "kill":
        os.kill(os.getpid(), signal.SIGKILL)
    raise OSError(getattr(errno, what), os.strerror(getattr(errno, what)), point)
