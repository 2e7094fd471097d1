"""A small real catalogue to publish: the example review, a later one of the same unit, the
simulated circuits, and a unit whose every text tries to be more than text."""

from __future__ import annotations

import shutil
from pathlib import Path

from PIL import Image

from backbench.catalogue import Catalogue
from backbench.seed_dataset.scenario import settings_text
from simulated import CASES, CIRCUITS

EXAMPLE = CIRCUITS.parent.parent / "seed_dataset" / "example_review"
FEW = ("idle.flac", "tone-1k-1w.flac", "tone-1k-5w.flac", "tone-1k-20w.flac", "tone-1k-4ohm.flac",
       "tone-1k-open.flac")  # fmt: skip
MAKER = "<script>window.broken=1</script>\"'&"
MODEL = "שלום עולם 🎛 <img src=x onerror=window.broken=2>"
NOTES = "</bdi></p><script>window.broken=3</script>\u202e <b>bold</b> {{ 7*7 }} 🎚"
FILE = '<b>tone & "5w" שלום 🎛.flac'
HOSTILE, PLAIN, LATER = "hostile-unit", "halyard-20", "2021-03-halyard-20"


def published_catalogue(folder: Path) -> Catalogue:
    """Everything taken in, without the orchestrator."""
    own = (CIRCUITS / "backbench.toml").read_text(encoding="utf-8")
    benches = own[own.index("[bench.simulator]") :]
    catalogue = Catalogue.create(folder / "catalogue", f"{settings_text()}\n{benches}")
    reviews = [CIRCUITS / case for case in CASES]
    reviews += [_example(folder), _later(folder), _hostile(folder)]
    outcomes, refused = catalogue.ingest(reviews, history=False, processes=2)
    assert not refused
    assert not any(outcome.failed for outcome in outcomes)
    return catalogue


def _example(folder: Path) -> Path:
    return _written(folder / "example", (EXAMPLE / "review.toml").read_text(encoding="utf-8"), {})


def _few(text: str) -> str:
    """The manifest with only a few of its captures."""
    head, *captures = text.split("[[capture]]")
    kept = [part for part in captures if any(f'"{name}"' in part for name in FEW)]
    return "[[capture]]".join([head, *kept])


def _later(folder: Path) -> Path:
    text = _few((EXAMPLE / "review.toml").read_text(encoding="utf-8"))
    for old, new in (
        ('key = "2019-09-halyard-20"', f'key = "{LATER}"'),
        ("date = 2019-09-12", "date = 2021-03-04"),
        ("as received", "restored"),
        ('state = "restored"', 'state = "restored"\nwork = ["coupling capacitors replaced"]'),
    ):
        text = text.replace(old, new)
    return _written(folder / "later", text, {})


def _hostile(folder: Path) -> Path:
    text = _few((EXAMPLE / "review.toml").read_text(encoding="utf-8"))
    for old, new in (
        ('key = "2019-09-halyard-20"', f'key = "2020-01-hostile"\nnotes = {_toml(NOTES)}'),
        ('title = "Ostrelune Halyard 20, as received"', f"title = {_toml(MODEL)}"),
        ("halyard-20", HOSTILE),
        ('maker = "Ostrelune"', f"maker = {_toml(MAKER)}"),
        ('model = "Halyard 20"', f"model = {_toml(MODEL)}"),
        ('technology = "tube"', f'technology = "solid state"\nnotes = {_toml(NOTES)}'),
        ('"tone-1k-5w.flac"', _toml(FILE)),
        ('printed_in = "owner\'s manual"', f"printed_in = {_toml(MAKER)}"),
    ):
        text = text.replace(old, new)
    text += f'\n[[photograph]]\nfile = "front.png"\ncaption = {_toml(MODEL)}\n'
    written = _written(folder / "hostile", text, {"tone-1k-5w.flac": FILE})
    Image.new("RGB", (1200, 700), "slategray").save(written / "front.png")
    return written


def _toml(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\u202e", "\\u202e")
    return f'"{escaped}"'


def _written(folder: Path, manifest: str, renamed: dict[str, str]) -> Path:
    """A review folder: the manifest, and copies of the captures that it names."""
    folder.mkdir(parents=True)
    (folder / "review.toml").write_text(manifest, encoding="utf-8")
    for path in EXAMPLE.iterdir():
        if f'"{path.name}"' in manifest or path.name in renamed:
            shutil.copy(path, folder / renamed.get(path.name, path.name))
    return folder
