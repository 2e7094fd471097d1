"""The scripts of an offline page: bundled once for each machine, and never used damaged."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from backbench.charts import script_library as module

TEXT = "const drawn = 1;\r\nwindow.vegaEmbed = vegaEmbed; // é"


@pytest.fixture
def bundled(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """What was bundled, in order; the folder that keeps it is the test's own."""
    calls: list[str] = []

    def bundle() -> str:
        calls.append(TEXT)
        return TEXT

    monkeypatch.setattr(module, "_bundled", bundle)
    monkeypatch.setattr(module, "user_cache_path", lambda name: tmp_path / name)
    module.script_library.cache_clear()
    yield calls
    module.script_library.cache_clear()


def next_process() -> str:
    module.script_library.cache_clear()
    return module.script_library()


def test_a_later_process_bundles_nothing(bundled: list[str]) -> None:
    assert [next_process(), next_process()] == [TEXT, TEXT]
    assert len(bundled) == 1


@pytest.mark.parametrize("damage", [b"", b"short", b"\xff\n\xff", None])
def test_a_damaged_file_is_made_again(bundled: list[str], damage: bytes | None) -> None:
    next_process()
    path = module._kept_path()
    content = path.read_bytes()
    path.unlink()
    path.write_bytes(content[:-1] + b"x" if damage is None else damage)
    assert next_process() == TEXT
    assert path.read_bytes() == content
    assert len(bundled) == 2


def test_what_a_stopped_process_left_is_removed(bundled: list[str]) -> None:
    left = module._kept_path().with_name(".incoming-left")
    left.parent.mkdir()
    left.write_text("half")
    next_process()
    assert [path.name for path in left.parent.iterdir()] == [module._kept_path().name]


def test_where_nothing_can_be_kept_each_process_bundles(bundled: list[str], tmp_path: Path) -> None:
    (tmp_path / "backbench").write_text("a file in the folder's place")
    assert [next_process(), next_process()] == [TEXT, TEXT]
    assert len(bundled) == 2
