from __future__ import annotations

from pathlib import Path

import pytest

from backbench.seed_dataset.maker import REVIEWS
from demonstration import Demo


@pytest.fixture(scope="session")
def written(demo: Demo) -> list[Path]:
    """Every review folder of the demonstration, written by its processes."""
    return [demo.folder / REVIEWS / review.key for review in demo.scenario.reviews]
