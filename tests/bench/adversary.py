"""Random units on random benches with known truth: where a figure is wrong and doesn't say so.

Run by hand: python tests/bench/adversary.py [--draws N] [--seed S] [--faults NAME,NAME]
[--replay SEED:NUMBER] [--worst N]. A third of the draws are honest, a third have one fault and
a third two. Printed, by metric, by fault and for honest records: readings, the share of those
measured without a remark whose 95 % interval holds the truth, shares refused, remarked and given
as bounds, bounds on the wrong side, and readings beyond 5 standard uncertainties with the worst.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.adversary_bench_faults import FAULTS
from bench.adversary_draws import draw
from bench.adversary_score import FAR, Outcome, line, outcomes, table, worst

CHUNK = 25


def one(seed: int, only: tuple[str, ...], number: int) -> list[Outcome]:
    """The outcomes of one draw."""
    return outcomes(draw(seed, number, only))


def run(
    numbers: Sequence[int], seed: int, only: tuple[str, ...] = (), workers: int = 1
) -> list[Outcome]:
    """The outcomes of the draws of a seed with these numbers."""
    work = partial(one, seed, only)
    if workers == 1:
        return [x for number in numbers for x in work(number)]
    with ProcessPoolExecutor(workers) as pool:
        return [x for some in pool.map(work, numbers, chunksize=CHUNK) for x in some]


def report(result: list[Outcome], number: int) -> None:
    honest = [x for x in result if not x.faults]
    faulty = [x for x in result if x.faults]
    single = [x for x in result if len(x.faults) == 1]
    print("\n## Honest records, by metric\n")
    print(table(honest, lambda x: (x.metric, "all")))
    print("\n## With faults, by metric\n")
    print(table(faulty, lambda x: (x.metric, "all")))
    print("\n## By fault, alone\n")
    print(table(single, lambda x: x.faults))
    print("\n## By fault, alone or with another\n")
    print(table(faulty, lambda x: x.faults))
    far = Counter((x.metric, x.faults[0]) for x in single if x.state == "measured"
                  and x.score > FAR)  # fmt: skip
    print("\n## Beyond 5 u by fault alone and metric\n")
    for (metric, fault), count in sorted(far.items(), key=lambda item: -item[1]):
        print(f"{count:5} {fault}: {metric}")
    print("\n## The worst\n")
    print("\n".join(worst(result, number)))
    print("\n## Bounds on the wrong side\n")
    wrong = [x for x in result if x.state == "bound" and not x.held]
    print("\n".join(line(x) for x in wrong[:number]))
    bad = [x for x in honest if x.state == "refused"]
    print("\n## Honest records refused\n")
    print("\n".join(line(x) for x in bad[:number]))


def main() -> None:
    wanted = argparse.ArgumentParser(description=__doc__)
    wanted.add_argument("--draws", type=int, default=10_000)
    wanted.add_argument("--seed", type=int, default=1)
    wanted.add_argument("--faults", default="", help=", ".join(sorted(FAULTS)))
    wanted.add_argument("--replay", help="seed:number of a draw")
    wanted.add_argument("--worst", type=int, default=20)
    wanted.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    given = wanted.parse_args()
    only = tuple(name for name in given.faults.split(",") if name)
    if given.replay:
        seed, number = map(int, given.replay.split(":"))
        print("\n".join(line(x) for x in one(seed, only, number)))
        return
    started = time.perf_counter()
    result = run(range(given.draws), given.seed, only, given.workers)
    print(f"{given.draws} draws, seed {given.seed}, {time.perf_counter() - started:.0f} s")
    report(result, given.worst)


if __name__ == "__main__":
    main()
