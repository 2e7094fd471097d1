"""The scripts that draw a chart in a browser, bundled once for each machine and kept.

Bundling takes longer than drawing a chart: every process would pay for it again.
"""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib import metadata
from pathlib import Path

from platformdirs import user_cache_path

from backbench.storage.atomic_io import ASIDE, write_aside

ENTRY = "window.vegaEmbed = vegaEmbed;"
"""What the bundle leaves behind for the page's own script."""


@cache
def script_library() -> str:
    """The scripts as one text: kept by an earlier process, or bundled now."""
    path = _kept_path()
    kept = _kept(path)
    if kept is None:
        kept = _bundled()
        _keep(path, kept)
    return kept


@cache
def script_library_hash() -> str:
    """The hash of the scripts, as a content security policy states it."""
    return policy_hash(script_library())


def policy_hash(text: str) -> str:
    """The hash of a script or a style, as a content security policy states it."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _bundled() -> str:
    import vl_convert

    return str(vl_convert.javascript_bundle(ENTRY))


def _kept_path() -> Path:
    """The file that this machine keeps for the installed version."""
    version = metadata.version("vl-convert-python")
    return user_cache_path("backbench") / f"charts-{version}.js"


def _kept(path: Path) -> str | None:
    """The scripts in the file; None where there is none, or its hash, the first line, is wrong."""
    try:
        stated, text = path.read_bytes().decode("utf-8").split("\n", 1)
    except (OSError, ValueError):
        return None
    return text if stated == policy_hash(text) else None


def _keep(path: Path, text: str) -> None:
    """Keep the scripts for later processes. Where that can't be, each bundles its own."""
    try:
        for left in path.parent.glob(f"{ASIDE}*"):
            left.unlink(missing_ok=True)
        write_aside(path, f"{policy_hash(text)}\n{text}".encode())
    except OSError:
        return
