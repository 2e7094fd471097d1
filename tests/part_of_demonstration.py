"""The demonstration of every fifth review and a few more: `python part_of_demonstration.py FOLDER`.

Made by the command of the whole one, in the same way; only the scenario is shorter.
"""

from __future__ import annotations

import sys
from dataclasses import replace

from backbench import demo
from backbench.cli import main
from backbench.seed_dataset import maker
from backbench.seed_dataset.scenario import Scenario, scenario

WITH = ("halyard-20", "hollowreed-60-left", "pinhollow-50")
"""Units that stay with all their reviews: the one that is looked at, one of a pair, one of which a
review is withdrawn."""
EXTRAS = {"cut-short"}
"""Reviews that stay for what went wrong with them."""


def part() -> Scenario:
    """Every fifth review, and those of the units of WITH."""
    whole = scenario()
    reviews = tuple(
        review
        for n, review in enumerate(whole.reviews)
        if n % 5 == 0 or review.extras & EXTRAS or any(unit.key in WITH for unit in review.units)
    )
    reviewed = {unit.key for review in reviews for unit in review.units}
    units = tuple(unit for unit in whole.units if unit.key in reviewed)
    return replace(whole, units=units, reviews=reviews)


if __name__ == "__main__":
    shorter = part()
    for module in (demo, maker):
        module.scenario = lambda: shorter
    sys.argv = ["backbench", "demo", *sys.argv[1:]]
    main()
