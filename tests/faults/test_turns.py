"""Whoever waits for a lock comes before whoever has just let it go."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from filelock import Timeout

from backbench.storage.lock import NEXT, turn


def test_a_waiting_one_comes_before_one_that_asks_again(tmp_path: Path) -> None:
    order: list[str] = []
    lock = tmp_path / "lock"

    def second() -> None:
        with turn(lock, 30):
            order.append("second")

    waiting = threading.Thread(target=second)
    with turn(lock, 30):
        waiting.start()
        while not _held(lock.with_name(lock.name + NEXT)):
            pass
        order.append("first")
    with turn(lock, 30):
        order.append("first again")
    waiting.join()
    assert order == ["first", "second", "first again"]


def _held(path: Path) -> bool:
    """Whether someone waits as the next."""
    try:
        with turn(path, 0):
            return False
    except Timeout:
        return True


@pytest.mark.parametrize("what", ["", NEXT])
def test_patience_has_an_end(tmp_path: Path, what: str) -> None:
    lock = tmp_path / "lock"
    with turn(lock.with_name(lock.name + what), 0), pytest.raises(Timeout), turn(lock, 0.05):
        pass
