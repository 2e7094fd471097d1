"""Whether a site is one whole site, whatever stopped the program that made it."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

from backbench.publish.site import publish


def tree(folder: Path) -> str:
    """One hash over the names and bytes of all files; nothing where there is no folder."""
    if not folder.exists():
        return ""
    digest = hashlib.sha256()
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        digest.update(f"{path.relative_to(folder)}\0".encode())
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def site_faults(root: Path, fresh: Path, earlier: str) -> tuple[str, list[str]]:
    """The hash of the site that stands, and what is wrong with it.

    It must be the earlier one to the byte, in its place or beside it, or the one that is made of
    the catalogue in a folder where nothing was.
    """
    site = root / "published" / "site"
    standing = tree(site) or tree(site.with_name(".site.earlier"))
    if standing == earlier:
        return earlier, []
    shutil.rmtree(fresh, ignore_errors=True)
    publish(root, fresh)
    if standing == tree(fresh):
        return standing, []
    return standing, ["the site is neither the earlier one nor the new one"]
