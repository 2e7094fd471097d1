"""From 100 captures to 20,000: python tests/bench/growth.py [CAPTURES]

The demonstration's reviews under new keys, as often as needed; equal originals are kept once, but
hashed, read and analysed each time. Prints the time a capture at both ends, the memory of this
process and of the largest worker, and what one more review costs at both ends.
"""

from __future__ import annotations

import resource
import shutil
import sys
import tempfile
import tomllib
from pathlib import Path

from rows import Row, tell, timed

from backbench.catalogue import Catalogue
from backbench.seed_dataset.maker import write_catalogue_inputs
from backbench.seed_dataset.scenario import settings_text

PROCESSES = 2
FEW, MANY = 100, 20_000
MEGABYTE = 1 << 10
"""Of the kibibytes that the system counts in."""


def renamed(review: Path, number: int, into: Path) -> tuple[Path, int]:
    """The review with its own keys for review and units, its originals linked; its captures."""
    text = (review / "review.toml").read_text(encoding="utf-8")
    manifest = tomllib.loads(text)
    for key in [manifest["review"]["key"], *(unit["key"] for unit in manifest["unit"])]:
        text = text.replace(f'"{key}"', f'"{key}-{number}"')
    folder = into / f"{review.name}-{number}"
    shutil.copytree(review, folder, copy_function=lambda a, b: Path(b).hardlink_to(a))
    (folder / "review.toml").unlink()
    (folder / "review.toml").write_text(text, encoding="utf-8")
    return folder, len(manifest.get("capture", []))


def taken_in(catalogue: Catalogue, folders: list[Path]) -> None:
    outcomes, refused = catalogue.ingest(folders, history=False, processes=PROCESSES)
    assert len(outcomes) == len(folders)
    assert not refused


def main(many: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        reviews = write_catalogue_inputs(folder / "inputs", workers=PROCESSES)
        made = (renamed(r, n, folder) for n in range(1000) for r in reviews)
        few, captures = [], 0
        while captures < FEW:
            review, held = next(made)
            few, captures = [*few, review], captures + held
        catalogue = Catalogue.create(folder / "catalogue", settings_text())
        each = timed(lambda: taken_in(catalogue, few)) / captures
        one, _ = next(made)
        alone = timed(lambda: taken_in(catalogue, [one]))
        rest, more = [], 0
        while captures + more < many:
            review, held = next(made)
            rest, more = [*rest, review], more + held
        later = timed(lambda: taken_in(catalogue, rest)) / more
        last, _ = renamed(reviews[len(few) % len(reviews)], 1000, folder)
        tell(Row(f"a capture of {more} more", 1e3 * later, "ms", f"of the first {captures}",
                 1e3 * each, 1.1))  # fmt: skip
        tell(Row(f"one more review beside {captures + more} captures",
                 timed(lambda: taken_in(catalogue, [last])), "s",
                 f"beside {captures}", alone, 1.5))  # fmt: skip
        for what, who in (("the largest worker", resource.RUSAGE_CHILDREN),
                          ("the loading process", resource.RUSAGE_SELF)):  # fmt: skip
            most = resource.getrusage(who).ru_maxrss / MEGABYTE
            tell(Row(f"memory of {what}", most, "MB"))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else MANY)
