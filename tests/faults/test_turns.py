"""Whoever waits for a lock comes before whoever has just let it go."""

from __future__ import annotations

import os
import signal
import threading
import time
from pathlib import Path

import pytest

from backbench.storage.lock import NEXT, Held, held, turn


def test_a_waiting_one_comes_before_one_that_asks_again(tmp_path: Path) -> None:
    order: list[str] = []
    lock = tmp_path / "lock"

    def second() -> None:
        with turn(lock, 30):
            order.append("second")

    waiting = threading.Thread(target=second)
    with turn(lock, 30):
        waiting.start()
        while not _waited_for(lock.with_name(lock.name + NEXT)):
            pass
        order.append("first")
    with turn(lock, 30):
        order.append("first again")
    waiting.join()
    assert order == ["first", "second", "first again"]


def _waited_for(path: Path) -> bool:
    """Whether someone waits as the next."""
    try:
        with turn(path, 0):
            return False
    except Held:
        return True


@pytest.mark.parametrize("what", ["", NEXT])
def test_patience_has_an_end(tmp_path: Path, what: str) -> None:
    lock = tmp_path / "lock"
    with turn(lock.with_name(lock.name + what), 0), pytest.raises(Held), turn(lock, 0.05):
        pass


def test_a_lock_file_that_was_removed_is_no_lock(tmp_path: Path) -> None:
    """Who waited for a file that is gone holds the one of its name that others meet."""
    lock = tmp_path / "lock"
    with held(lock, 0):
        lock.unlink()
        with held(lock, 0), pytest.raises(Held), held(lock, 0):
            pass


def test_a_child_does_not_keep_what_its_parent_let_go(tmp_path: Path) -> None:
    lock = tmp_path / "lock"
    with held(lock, 0):
        child = os.fork()
        if child == 0:
            time.sleep(60)
            os._exit(0)
    try:
        with held(lock, 0):
            pass
    finally:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
