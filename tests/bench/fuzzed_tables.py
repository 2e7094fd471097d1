"""Changed tables and traces of every kind, read and measured: how each ended.

Run by hand: python tests/bench/fuzzed_tables.py [inputs [seed]]. Prints how many were refused in
words, measured or without a figure, and every crash, warning and figure that is no finite number.
"""

from __future__ import annotations

import sys
import tempfile
import warnings
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from faults.fuzzed_tables import TABLES, mutated, read_and_measure, sound_tables


def main(inputs: int, seed: int) -> None:
    warnings.simplefilter("error")
    rng = np.random.default_rng(seed)
    seeds = sound_tables()
    ended: Counter[str] = Counter()
    wrong: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        for n in range(inputs):
            data = mutated(rng, seeds[n % len(TABLES)])
            try:
                ended[read_and_measure(data, Path(folder) / "t.csv")] += 1
            except Exception as error:  # any at all is what is looked for
                ended["wrong"] += 1
                known = f"{TABLES[data[0] % len(TABLES)].sort}: {type(error).__name__}: {error}"
                wrong[known] += 1
                if wrong[known] == 1:
                    Path(tempfile.gettempdir(), f"fuzzed-{n}").write_bytes(data)
                    print(f"input {n}: {known[:200]}", flush=True)
    print(f"{inputs} inputs: {dict(ended)}")


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    main(given[0] if given else 1000, given[1] if len(given) > 1 else 1)
