"""What changed in the calibrations and terms of benches, from the kept versions of the settings."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.regular_files import read_regular
from backbench.documents.validation import parse_toml
from backbench.errors import UserError
from backbench.maintenance.worded_changes import worded_changes
from backbench.storage.catalogue_paths import CataloguePaths
from backbench.storage.settings_history import kept_settings


def bench_changes(places: CataloguePaths, benches: Collection[str]) -> list[str]:
    """A line for each change of these benches, with the version of the settings that brought it.

    The settings as they stand come last, where they differ from the newest kept version. What a
    bench was described with first is no change. A version that can't be read is said to be so.
    """
    lines: list[str] = []
    before: dict[str, Any] = {}
    kept = [(f"settings version {int(path.name[:6])}", path)
            for path in kept_settings(places.ledger.folder)]  # fmt: skip
    for name, path in [*kept, (f"{SETTINGS_NAME} as it stands", places.root / SETTINGS_NAME)]:
        try:
            content = parse_toml(read_regular(path), str(path))
        except (UserError, OSError):
            lines.append(f"{name}: can't be read")
            continue
        described = content.get("bench", {})
        now = {bench: described[bench] for bench in benches if bench in described}
        for bench in sorted(before.keys() & now.keys()):
            changes = worded_changes(before[bench], now[bench])
            lines += [f"{name}: bench {bench}, {change}" for change in changes]
        before = {**before, **now}
    return lines
