"""How long commands take to begin and end: python tests/bench/start_speed.py

Whole processes, the least of five; a small catalogue.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from rows import Row, tell, timed

from backbench.catalogue import Catalogue
from backbench.seed_dataset.maker import write_catalogue_inputs
from backbench.seed_dataset.scenario import settings_text

PROGRAM = [sys.executable, "-c", "from backbench.cli import main; main()"]


def ran(*words: str) -> None:
    subprocess.run([*PROGRAM, *words], check=True, stdout=subprocess.DEVNULL)


def main() -> None:
    bare = timed(lambda: subprocess.run([sys.executable, "-c", ""], check=True), 5)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        reviews = write_catalogue_inputs(folder, workers=2)[:3]
        catalogue = Catalogue.create(folder / "catalogue", settings_text())
        catalogue.ingest(reviews, history=False, processes=1)
        review, home = catalogue.reviews()["review_key"][0], str(catalogue.places.root)
        tell(Row("python itself", bare))
        for words in (
            ("--help",), ("query", "quietest-of-a-kind", "-c", home), ("show", review, "-c", home),
        ):  # fmt: skip
            taken = timed(lambda words=words: ran(*words), 5)  # type: ignore[misc]
            tell(Row(f"`backbench {words[0]}`, whole command", taken, target=0.4))


if __name__ == "__main__":
    main()
