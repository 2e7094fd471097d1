"""Photographs: what is shown of them, what is left behind, and what is refused."""

from __future__ import annotations

import io
import shutil
import struct
import zlib
from pathlib import Path

import pytest
from PIL import Image

from backbench.catalogue import Catalogue
from backbench.errors import Refusal
from backbench.publish import photographs, standalone_page
from backbench.publish.photographs import Album, Photo, Unshown, shown_as
from backbench.publish.sheet_charts import ChartRenderer
from backbench.publish.site import publish
from backbench.publish.site_builder import SiteBuilder
from backbench.publish.site_data import read_site_data
from backbench.querying.saved_queries import available
from simulated import CIRCUITS, simulated_catalogue

ORIENTATION, MAKE, GPS = 0x0112, 0x010F, 0x8825


def taken(width: int = 60, height: int = 40) -> bytes:
    """A camera's JPEG: lying on its side, with a maker, a place and a comment."""
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    exif[MAKE] = "Tellwick Optics"
    exif.get_ifd(GPS)[2] = (12.0, 34.0, 56.0)
    stream = io.BytesIO()
    image = Image.new("RGB", (width, height), "navy")
    image.save(stream, "JPEG", exif=exif, comment=b"taken at home")
    return stream.getvalue()


def png(width: int, height: int) -> bytes:
    """A PNG that claims a size and holds next to nothing."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 10)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def test_pixels_alone_are_shown() -> None:
    original = taken()
    assert b"Tellwick" in original
    assert b"taken at home" in original
    jpeg, size = shown_as(original)
    assert size == (40, 60), "upright, as the camera was held"
    for word in (b"Tellwick", b"taken at home", b"Exif"):
        assert word not in jpeg
    with Image.open(io.BytesIO(jpeg)) as opened:
        assert opened.format == "JPEG"
        assert dict(opened.getexif()) == {}
        assert opened.size == size


def test_a_large_one_is_made_smaller_and_transparency_is_white() -> None:
    stream = io.BytesIO()
    Image.new("RGBA", (3200, 800), (0, 0, 0, 0)).save(stream, "PNG")
    jpeg, size = shown_as(stream.getvalue())
    assert size == (1600, 400)
    with Image.open(io.BytesIO(jpeg)) as opened:
        assert opened.getpixel((5, 5)) == (255, 255, 255)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"<svg onload='x()'/>", "neither PNG nor JPEG"),
        (b"GIF89a" + bytes(30), "neither PNG nor JPEG"),
        (taken()[:200], "can't be decoded"),
        (b"\xff\xd8\xff" + bytes(50), "can't be decoded"),
        (png(60, 40), "can't be decoded"),
        (png(10_000, 5_001), "10000 x 5001 pixels"),
        (png(60_000, 60_000), "can't be decoded"),
        (b"\xff\xd8\xff" + bytes(photographs.MOST_BYTES), "more than 12 MB"),
    ],
)
def test_what_is_no_picture_is_refused(data: bytes, message: str) -> None:
    with pytest.raises(Refusal, match=message):
        shown_as(data)


@pytest.fixture
def review(tmp_path: Path) -> Path:
    """A simulated review with two photographs: one good, one that is none."""
    folder = tmp_path / "review"
    shutil.copytree(CIRCUITS / "push_pull_taps", folder)
    text = (folder / "review.toml").read_text(encoding="utf-8")
    text += '\n[[photograph]]\nfile = "front.jpg"\ncaption = "From <b>above</b>"\n'
    text += '\n[[photograph]]\nfile = "back.png"\ncaption = "Back"\n'
    (folder / "review.toml").write_text(text, encoding="utf-8")
    (folder / "front.jpg").write_bytes(taken())
    (folder / "back.png").write_bytes(b"not a picture")
    return folder


@pytest.fixture
def catalogue(review: Path, tmp_path: Path) -> Catalogue:
    made = simulated_catalogue(tmp_path / "catalogue")
    outcomes, refused = made.ingest([review], history=False)
    assert not refused
    assert outcomes[0].failed == ()
    return made


@pytest.mark.usefixtures("few_questions")
def test_a_bad_photograph_is_reported_and_costs_nothing_else(
    catalogue: Catalogue, review: Path, tmp_path: Path
) -> None:
    root, site = catalogue.places.root, tmp_path / "site"
    done = publish(root, site)
    assert done.troubles == ("push-pull-taps: photograph back.png not shown: neither PNG nor JPEG",)
    text = (site / "sheets/push-pull-taps.html").read_text(encoding="utf-8")
    (shown,) = (site / "photographs").iterdir()
    assert f'src="../photographs/{shown.name}" alt="From &lt;b&gt;above&lt;/b&gt;"' in text
    assert 'width="40" height="60"' in text
    assert "is not shown: <bdi>neither PNG nor JPEG" in text
    assert b"Tellwick" not in shown.read_bytes()

    shutil.copy(review / "front.jpg", review / "back.png")
    catalogue.ingest([review], history=False)
    again = publish(root, site)
    assert again.troubles == ()
    assert "is not shown" not in (site / "sheets/push-pull-taps.html").read_text(encoding="utf-8")
    assert publish(root, site).nothing_new


def test_originals_stay_and_a_missing_one_is_reported(catalogue: Catalogue, review: Path) -> None:
    album = Album(catalogue.places.root)
    front, back = album.of("push-pull-taps")
    assert isinstance(front, Photo)
    assert isinstance(back, Unshown)
    receipt = catalogue.places.ledger.newest()["push-pull-taps"]
    sha256 = receipt.files["front.jpg"].sha256
    assert sha256 is not None
    assert catalogue.places.vault.read(sha256) == taken()
    (review / "front.jpg").unlink()
    outcomes, _ = catalogue.ingest([review], history=False)
    assert outcomes[0].failed == ()
    front, _ = Album(catalogue.places.root).of("push-pull-taps")
    assert front == Unshown("front.jpg", "no such file")
    assert list(Album().of("push-pull-taps")) == []


def test_a_sheet_of_its_own_holds_its_photographs(catalogue: Catalogue, tmp_path: Path) -> None:
    root = catalogue.places.root
    with catalogue.reading() as store:
        renderer = ChartRenderer(store, available(root), None)
        builder = SiteBuilder(
            renderer, read_site_data(store), catalogue.settings, tmp_path, Album(root)
        )
        standalone_page.save_sheet(builder, "push-pull-taps", tmp_path / "sheet.html")
    assert 'src="data:image/jpeg;base64,' in (tmp_path / "sheet.html").read_text(encoding="utf-8")


def test_a_photograph_stays_inside_the_folder(catalogue: Catalogue, review: Path) -> None:
    text = (review / "review.toml").read_text(encoding="utf-8")
    (review / "review.toml").write_text(text.replace("back.png", "../back.png"), encoding="utf-8")
    (outcome,), _ = catalogue.ingest([review], history=False)
    (line,) = outcome.ended.entries
    assert line.startswith("../back.png: refused: ")
    assert "inside the review's folder" in line
