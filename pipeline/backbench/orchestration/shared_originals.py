"""Originals on storage that several machines see, by hash as in a vault: ab/<sha256>.

The catalogue's own vault is what counts: originals are copied up from it, and whoever fetches
one hashes it again. Addresses are fsspec's; so is the place for the storage's secrets (its
configuration and environment).
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from backbench.errors import Fault, UserError
from backbench.ingest.analysis_plan import Source
from backbench.storage.atomic_io import make_folder
from backbench.storage.vault import AGAIN, RESTORE, Vault, hash_stream, refuse_changed

if TYPE_CHECKING:
    from fsspec import AbstractFileSystem


def opened(url: str) -> tuple[AbstractFileSystem, str]:
    """The storage at an address, and the folder in it. Raises UserError where there is none."""
    from fsspec.core import url_to_fs

    try:
        system, folder = url_to_fs(url)
    except (ImportError, ValueError) as error:
        fault = Fault(
            url,
            str(error),
            "a kind of storage that fsspec supports",
            "install the package that the error names",
        )
        raise UserError("the storage of originals can't be used", [fault]) from None
    return system, folder.rstrip("/")


def at(folder: str, sha256: str) -> str:
    """Where the bytes with this hash are kept under a folder or address."""
    return f"{folder.rstrip('/')}/{sha256[:2]}/{sha256}"


class Copies:
    """The copies of a vault's originals on the storage."""

    def __init__(self, vault: Vault, url: str) -> None:
        """Raises UserError where the storage is not known, or is a local folder not there."""
        self.url = url
        self._system, self._folder = opened(url)
        self._is_local = "file" in _protocols(self._system)
        if self._is_local and not Path(self._folder).is_dir():
            fault = Fault(url, "no such folder", "a folder that this machine and all workers see")
            raise UserError("the storage of originals can't be used", [fault])
        self._is_vault = self._is_local and (Path(self._folder).resolve() == vault.folder.resolve())
        self._sizes = cache(self._listed)

    def bring(self, sources: Iterable[Source]) -> None:
        """Copy up what the storage lacks, or holds in another size.

        What is damaged in the vault stays here: whoever misses it says so with the capture.
        Raises UserError where the storage takes nothing.
        """
        for source in {source.sha256: source for source in sources}.values():
            try:
                if not self._is_vault:
                    self._bring(source)
            except Exception as error:
                # Each storage has errors of its own.
                fault = Fault(self.url, error_text(error), "storage that can be written to")
                raise UserError("originals can't be copied to the storage", [fault]) from error

    def _bring(self, source: Source) -> None:
        held = self._sizes(source.sha256[:2])
        try:
            size = source.path.stat().st_size
            if held.get(source.sha256) == size:
                return
            refuse_changed(source.path, source.sha256, source.name)
        except (FileNotFoundError, UserError):
            return
        if self._is_local:
            Vault(Path(self._folder)).put(source.path)
        else:
            self._system.put_file(str(source.path), at(self._folder, source.sha256))
        held[source.sha256] = size

    def _listed(self, prefix: str) -> dict[str, int]:
        """Size by hash of what the storage holds in one of its folders."""
        try:
            listed = self._system.ls(f"{self._folder}/{prefix}", detail=True)
        except FileNotFoundError:
            return {}
        return {item["name"].rpartition("/")[2]: item["size"] for item in listed}


def fetch(url: str, sources: Iterable[Source], vault: Vault) -> dict[str, Fault]:
    """Copy originals from the storage into a vault of this machine.

    Returns what is wrong with those that are missing or changed, by hash; they stay away.
    Raises UserError where the storage can't be read.
    """
    system, folder = opened(url)
    faults: dict[str, Fault] = {}
    for source in {source.sha256: source for source in sources}.values():
        place = at(url, source.sha256)
        path = vault.path(source.sha256)
        make_folder(path.parent)
        try:
            with system.open(at(folder, source.sha256), "rb") as stream, path.open("wb") as copy:
                digest, _ = hash_stream(stream, copy)
        except FileNotFoundError:
            expected = "the bytes kept in the vault"
            faults[source.sha256] = Fault(
                source.name, f"no such file at {place}", expected, RESTORE
            )
        except Exception as error:
            fault = Fault(url, error_text(error), "storage that every worker can read")
            raise UserError("a worker can't read the originals", [fault]) from error
        else:
            if digest == source.sha256:
                continue
            faults[source.sha256] = Fault(
                source.name, f"changed bytes at {place}", "bytes as they were received", AGAIN
            )
        path.unlink(missing_ok=True)
    return faults


def error_text(error: Exception) -> str:
    """An error of someone else's in one short line."""
    lines = str(error).splitlines() or [type(error).__name__]
    return lines[0][:200]


def _protocols(system: AbstractFileSystem) -> tuple[str, ...]:
    return (system.protocol,) if isinstance(system.protocol, str) else tuple(system.protocol)
