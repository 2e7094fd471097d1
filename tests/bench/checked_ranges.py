"""Over which range each metric was checked, and the largest error found there.

Run by hand: python tests/bench/checked_ranges.py [records]. Writes tests/reference/
checked_ranges.csv, which METRICS.md quotes: simulated records of known truth (coverage.py) and
circuits whose truth is the simulator's (tests/simulated_circuits). Bounds are left out; errors
are relative, but in dB (or in the metric's unit where truth is 0) where so told.
"""

from __future__ import annotations

import csv
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from coverage import idle_record, tone_record

import test_own_circuits as own
import test_simulated_circuits as given
from backbench.catalogue import Catalogue
from backbench.metrics.measurement import measure
from backbench.metrics.registry import registry
from simulated import CASES, CIRCUITS, simulated_catalogue

CSV = Path(__file__).parents[1] / "reference" / "checked_ranges.csv"
TONES = (
    "simulated tones of 20, 997 and 6000 Hz, 0.3 to 1.2 s at 44.1 to 96 kHz, "
    "noise of 0.1 to 10 µV/√Hz under 1.4 V"
)
IDLES = (
    "simulated noise of 0.1 to 10 µV/√Hz with mains lines of 20 to 200 µV, 1 to 4 s at "
    "44.1 to 96 kHz, mains within 0.3 % of 50 Hz"
)
CIRCUIT = "circuits run in ngspice, against the simulator's own results"
Told = tuple[str, str, str, float, float | None]
"""Metric, range, unit of the error, its size, and the same in standard uncertainties."""


def error(metric: str, found: float, truth: float) -> tuple[str, float]:
    """Its unit and size: decibels as they are, anything else in percent of the truth."""
    unit = registry().metrics[metric].unit
    if unit == "dB" or truth == 0:
        return unit, abs(found - truth)
    return "%", 100 * abs(found / truth - 1)


def simulated(records: int) -> Iterator[Told]:
    rng = np.random.default_rng(11)
    for _ in range(records):
        for where, (capture_data, truth) in ((TONES, tone_record(rng)), (IDLES, idle_record(rng))):
            for finding in measure(capture_data)[0]:
                figure, name = finding.figure, finding.metric.name
                if figure is None or figure.bound:
                    continue
                known = truth.get(name + (f" {figure.order}" if figure.order else ""))
                if known is not None:
                    unit, size = error(name, figure.value, float(known))
                    times = abs(figure.value - float(known)) / figure.uncertainty
                    yield name, where, unit, size, times


def circuits() -> Iterator[Told]:
    with tempfile.TemporaryDirectory() as folder:
        catalogue: Catalogue = simulated_catalogue(Path(folder) / "catalogue")
        catalogue.ingest([CIRCUITS / case for case in CASES], history=False)
        for truth in given.truths():
            name = METRIC_OF.get(truth["id"].rsplit(".", 1)[1])
            if truth["id"] not in given.WITHOUT and name:
                found = given.how(truth)(catalogue, truth)
                yield (name, CIRCUIT, *error(name, found, truth["value"]), None)
        catalogue.ingest([CIRCUITS / "own" / case for case in own.CASES], history=False)
        for case, truth in own.truths():
            name, found = truth["metric"], own.found(catalogue, case, truth)
            yield (name, CIRCUIT, *error(name, found, truth["value"]), None)


METRIC_OF = {
    "vout": "level", "power": "output_power", "gain": "gain", "polarity": "polarity",
    "thd": "thd_wide", "thd10": "thd", "thd20": "thd_wide", "p1pct": "power_at_limit",
    "gain1k": "gain", "f_low": "response_low_3db", "f_high": "response_high_3db",
    "df8": "damping_factor", **{f"h{n}": "harmonic" for n in range(2, 11)},
}  # fmt: skip


def main(records: int) -> None:
    errors: dict[tuple[str, str, str], list[float]] = defaultdict(list)
    deviations: dict[tuple[str, str, str], list[float]] = defaultdict(list)
    for source in (simulated(records), circuits()):
        for name, where, unit, size, times in source:
            errors[name, where, unit].append(size)
            deviations[name, where, unit] += [times] if times is not None else []
    with CSV.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["metric", "range", "figures", "largest_error", "unit", "deviations"])
        for place, sizes in sorted(errors.items()):
            name, where, unit = place
            times = f"{max(deviations[place]):.2g}" if deviations[place] else ""
            writer.writerow([name, where, len(sizes), f"{max(sizes):.2g}", unit, times])


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 300)
