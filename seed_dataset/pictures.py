"""The README's pictures, drawn from a demonstration catalogue.

python -m backbench.seed_dataset.pictures backbench-demo
"""

from __future__ import annotations

import sys
from pathlib import Path

from backbench.catalogue import Catalogue
from backbench.charts.image_export import STILL, save

FOLDER = Path(__file__).parent / "pictures"
UNIT = "halyard-20"
PICTURES = {
    "idle-noise-of-technology": {"unit": UNIT},
    "distortion-over-power": {"unit": UNIT},
    "balance-against-age": {"unit": UNIT},
    "response-over-peers": {"unit": UNIT},
}


def draw(catalogue: Catalogue, folder: Path = FOLDER) -> list[Path]:
    """Write every picture; their paths."""
    folder.mkdir(exist_ok=True)
    paths = []
    for query, values in PICTURES.items():
        path = folder / f"{query}.png"
        save(catalogue.chart(query, **values), path, STILL)
        paths.append(path)
    return paths


if __name__ == "__main__":
    draw(Catalogue(sys.argv[1]))
