"""From 100 captures to 20,000: python tests/bench/growth.py [CAPTURES]

The demonstration's reviews under new keys, as often as needed; equal originals are kept once, but
hashed, read and analysed each time. Prints the time a capture at both ends, the memory of this
process and of the largest worker, and what one more review costs at both ends.
"""

from __future__ import annotations

import resource
import sys
import tempfile
from pathlib import Path

from many_reviews import renamed, until_captures, without_end
from rows import Row, tell, timed

from backbench.catalogue import Catalogue
from backbench.seed_dataset.maker import write_catalogue_inputs
from backbench.seed_dataset.scenario import settings_text

PROCESSES = 2
FEW, MANY = 100, 20_000
MEGABYTE = 1 << 10
"""Of the kibibytes that the system counts in."""


def taken_in(catalogue: Catalogue, folders: list[Path]) -> None:
    outcomes, refused = catalogue.ingest(folders, history=False, processes=PROCESSES)
    assert len(outcomes) == len(folders)
    assert not refused


def main(many: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        reviews = write_catalogue_inputs(folder / "inputs", workers=PROCESSES)
        made = without_end(reviews, folder)
        few, captures = until_captures(made, FEW)
        catalogue = Catalogue.create(folder / "catalogue", settings_text())
        each = timed(lambda: taken_in(catalogue, few)) / captures
        one = next(made).folder
        alone = timed(lambda: taken_in(catalogue, [one]))
        rest, more = until_captures(made, many - captures)
        later = timed(lambda: taken_in(catalogue, rest)) / more
        last = renamed(reviews[len(few) % len(reviews)], 1000, folder).folder
        tell(Row(f"a capture of {more} more", 1e3 * later, "ms", f"of the first {captures}",
                 1e3 * each, 1.1))  # fmt: skip
        tell(Row(f"one more review beside {captures + more} captures",
                 timed(lambda: taken_in(catalogue, [last])), "s",
                 f"beside {captures}", alone, 1.5))  # fmt: skip
        for what, who, limit in (("the largest worker", resource.RUSAGE_CHILDREN, None),
                                 ("the loading process", resource.RUSAGE_SELF, 600.0)):  # fmt: skip
            most = resource.getrusage(who).ru_maxrss / MEGABYTE
            tell(Row(f"memory of {what}", most, "MB", target=limit))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else MANY)
