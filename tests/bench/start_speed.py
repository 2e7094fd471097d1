"""How long commands take to begin and end: python tests/bench/start_speed.py

Whole processes, the least of five; a small catalogue. With compiled modules, as an installation
has them, whatever the environment says of writing them.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

# Else each process would compile the whole program again.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

from rows import Row, tell, timed

from backbench.catalogue import Catalogue
from backbench.seed_dataset.maker import write_catalogue_inputs
from backbench.seed_dataset.scenario import settings_text

PROGRAM = [sys.executable, "-c", "from backbench.cli import main; main()"]


def ran(*words: str) -> None:
    subprocess.run([*PROGRAM, *words], check=True, stdout=subprocess.DEVNULL)


def libraries() -> None:
    subprocess.run([sys.executable, "-c", "import duckdb, numpy, polars"], check=True)


def main() -> None:
    bare = timed(lambda: subprocess.run([sys.executable, "-c", ""], check=True), 5)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        reviews = write_catalogue_inputs(folder, workers=2)[:3]
        catalogue = Catalogue.create(folder / "catalogue", settings_text())
        catalogue.ingest(reviews, history=False, processes=1)
        review, home = catalogue.reviews()["review_key"][0], str(catalogue.places.root)
        unit = catalogue.units()["unit_key"][0]
        tell(Row("python itself", bare))
        tell(Row("python with the three libraries that any table needs", timed(libraries, 5)))
        for target, *words in (
            (0.1, "--help"), (0.3, "query", "quietest-of-a-kind", "-c", home),
            (0.3, "show", review, "-c", home), (0.3, "reviews", "-c", home),
            (0.6, "compare", unit, "-c", home),
        ):  # fmt: skip
            taken = timed(lambda words=words: ran(*words), 5)  # type: ignore[misc]
            tell(Row(f"`backbench {words[0]}`, whole command", taken, target=target))


if __name__ == "__main__":
    main()
