"""A site made aside, whole, and then put in the place of the one before.

Whatever stops the program, the folder holds the earlier site or the new one, never some pages of
each. Only between two renames is there none: then the earlier one stands beside, and the next
run brings it back.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from backbench.errors import NOT_EMPTY, Fault, UserError
from backbench.publish.output_files import RECORD, EarlierOutput, link
from backbench.storage.atomic_io import flush_everything, make_folder, rename
from backbench.storage.fault_injection import reached
from backbench.storage.lock import Held, turn

PATIENCE_S = 10.0


@contextmanager
def replacing_site(folder: Path) -> Iterator[Path]:
    """The right to renew the site in a folder, and the folder aside to make it in.

    What a run that broke off left is mended or cleared away first, and what this one leaves
    aside in the end. Raises UserError where another process holds the right, or where the folder
    holds something else than a site.
    """
    _refuse_other(folder)
    make_folder(folder.parent)
    with ExitStack() as held:
        try:
            held.enter_context(turn(_sibling(folder, "lock"), PATIENCE_S))
        except Held:
            holder, remedy = "another process making it", "try again when it has ended"
            fault = Fault(str(folder), holder, "one at a time", remedy)
            raise UserError("the site is being made", [fault]) from None
        _recover(folder)
        for left in (_sibling(folder, "new"), database_copy(folder)):
            held.callback(shutil.rmtree, left, ignore_errors=True)
        yield _sibling(folder, "new")


def database_copy(folder: Path) -> Path:
    """Where a run keeps the copy of the database that it makes the site from."""
    return _sibling(folder, "copy")


def replace_site(aside: Path, folder: Path, record: EarlierOutput) -> None:
    """Put the site made aside in the folder's place, with what is in it and not of the site.

    record: of the earlier site, whose files are not kept.
    """
    _keep_others(folder, aside, record)
    flush_everything()
    if folder.exists():
        shutil.copymode(folder, aside)
        rename(folder, _sibling(folder, "earlier"))
    rename(aside, folder)
    _clear(_sibling(folder, "earlier"))


def _sibling(folder: Path, what: str) -> Path:
    return folder.with_name(f".{folder.name}.{what}")


def _recover(folder: Path) -> None:
    """Bring an earlier site back that nothing took the place of; clear away what is left."""
    earlier = _sibling(folder, "earlier")
    if earlier.exists() and not folder.exists():
        rename(earlier, folder)
    for left in (earlier, _sibling(folder, "new"), database_copy(folder)):
        _clear(left)


def _clear(folder: Path) -> None:
    if folder.exists():
        reached("clear")
        shutil.rmtree(folder)
        reached("cleared")


def _keep_others(folder: Path, aside: Path, record: EarlierOutput) -> None:
    """Files that no run made stay; a page of the new site goes before one of the same name."""
    made = {*record.paths, RECORD}
    for path in [path for path in folder.rglob("*") if path.is_symlink() or not path.is_dir()]:
        name = path.relative_to(folder)
        if name.as_posix() not in made:
            link(path, aside / name)


def _refuse_other(folder: Path) -> None:
    """Only a new or empty folder, or one with a site, is ever renamed."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        if folder.is_dir() and (folder / RECORD).is_file():
            return
        fault = Fault(str(folder), NOT_EMPTY, "a new or empty folder, or one with a site")
        raise UserError("the site can't be put here", [fault])
