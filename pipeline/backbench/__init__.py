"""A hi-fi bench reviewer's captures, turned into one comparative database."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from backbench.catalogue import Catalogue

from backbench.errors import Fault, UserError

__all__ = ["Fault", "UserError", "open"]
__version__ = "0.1.0"

# Sums come out alike to the last digit only where one thread makes them; several processes would
# get in each other's way anyway. numpy reads this when it is first imported.
if "numpy" not in sys.modules:
    for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
        os.environ.setdefault(_name, "1")


def open(path: str | Path) -> Catalogue:
    """Open the catalogue folder at path. Raises UserError where there is none."""
    from backbench.catalogue import Catalogue

    return Catalogue(path)
