"""A review's photographs, made fit to be shown.

Each is decoded and encoded anew as JPEG, upright and no larger than a page needs. That leaves
behind everything else that the file held: the place and time of taking, the camera's number, a
thumbnail of what was cut away. The original stays in the vault as it was received.
"""

from __future__ import annotations

import hashlib
import io
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from backbench.documents.accepted_manifest import accepted_manifest
from backbench.documents.file_names import MANIFEST_NAME
from backbench.documents.manifest import Manifest
from backbench.errors import Refusal, UserError
from backbench.quantities.writing import number
from backbench.storage.vault import Ledger, Receipt, Vault

if TYPE_CHECKING:
    from PIL.Image import Image

MOST_BYTES = 12_000_000
MOST_PIXELS = 50_000_000
LONGEST_SIDE = 1600
QUALITY = 85
RECIPE = f"jpeg {LONGEST_SIDE} {QUALITY} v1"
BEGINNINGS = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")


@dataclass(frozen=True)
class Photo:
    """A photograph to be shown. name: of its file, made from the original's hash."""

    name: str
    caption: str
    width: int
    height: int
    jpeg: bytes = field(repr=False)


@dataclass(frozen=True)
class Unshown:
    """A photograph that can't be shown, and why."""

    file: str
    reason: str


@dataclass(frozen=True)
class Album:
    """The photographs of every review that the ledger holds; none where root is None.

    kept: a folder of files made before, used again instead of making them anew.
    """

    root: Path | None = None
    kept: Path | None = None

    @cached_property
    def _newest(self) -> dict[str, Receipt]:
        return Ledger(self.root / "ledger").newest() if self.root else {}

    def of(self, review_key: str) -> Iterator[Photo | Unshown]:
        """A review's photographs in the manifest's order, or why the manifest can't be had."""
        receipt = self._newest.get(review_key)
        if self.root is None or receipt is None:
            return
        vault = Vault(self.root / "vault")
        try:
            manifest = _manifest(vault, receipt)
        except UserError as refused:
            yield Unshown(MANIFEST_NAME, str(refused))
            return
        for picture in manifest.photograph:
            try:
                yield self._photo(vault, receipt, picture.file, picture.caption)
            except (Refusal, UserError) as refused:
                yield Unshown(picture.file, str(refused))

    def _photo(self, vault: Vault, receipt: Receipt, file: str, caption: str) -> Photo:
        received = receipt.files.get(file)
        if received is None or received.sha256 is None or received.bytes is None:
            raise Refusal((received and received.reason) or "no such file")
        refuse_large(received.bytes)
        name = hashlib.sha256(f"{received.sha256} {RECIPE}".encode()).hexdigest()[:20] + ".jpg"
        made = self.kept / name if self.kept else None
        ready = made.read_bytes() if made and made.is_file() else None
        jpeg, (width, height) = _measured(ready) or shown_as(vault.read(received.sha256))
        return Photo(name, caption, width, height, jpeg)


def _manifest(vault: Vault, receipt: Receipt) -> Manifest:
    return accepted_manifest(vault.read(receipt.manifest), f"{receipt.review}/{MANIFEST_NAME}")


def refuse_large(size: int) -> None:
    """Raise Refusal for a file of too many bytes."""
    if size > MOST_BYTES:
        raise Refusal(f"{number(size / 1e6)} MB, more than {number(MOST_BYTES / 1e6)} MB")


def shown_as(data: bytes) -> tuple[bytes, tuple[int, int]]:
    """JPEG bytes of a PNG's or JPEG's pixels alone, with width and height.

    Raises Refusal for another kind of file, one that is too large or damaged.
    """
    from PIL import Image

    refuse_large(len(data))
    if not data.startswith(BEGINNINGS):
        raise Refusal("neither PNG nor JPEG")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            opened = Image.open(io.BytesIO(data), formats=("PNG", "JPEG"))
        width, height = opened.size
        if width * height > MOST_PIXELS:
            raise Refusal(
                f"{width} x {height} pixels, more than {number(MOST_PIXELS / 1e6)} million"
            )
        return _encoded(opened)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise Refusal(f"it can't be decoded ({str(error)[:120]})") from None


def _encoded(opened: Image) -> tuple[bytes, tuple[int, int]]:
    from PIL import Image, ImageOps

    opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
    upright = ImageOps.exif_transpose(opened).convert("RGBA")
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    # A new picture has no comment, profile or tags that could be written with it.
    clean = Image.new("RGB", upright.size, "white")
    clean.paste(upright, mask=upright.getchannel("A"))
    stream = io.BytesIO()
    clean.save(stream, "JPEG", quality=QUALITY, optimize=True)
    return stream.getvalue(), clean.size


def _measured(ready: bytes | None) -> tuple[bytes, tuple[int, int]] | None:
    """A file made before with its size; None where it can't be read."""
    from PIL import Image

    if ready is None:
        return None
    try:
        with Image.open(io.BytesIO(ready), formats=("JPEG",)) as opened:
            opened.load()
            return ready, opened.size
    except (OSError, ValueError, SyntaxError):
        return None
