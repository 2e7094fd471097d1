"""Whether readings are what they were before a change of the code that measures them.

Run by hand: python tests/bench/same_readings.py keep FILE before the change, and
python tests/bench/same_readings.py compare FILE after it. Measured are the captures of the example
review with its loop-backs, those of analysis_speed.py and the draws of the adversary. Printed are
the greatest difference of a value, in units of its uncertainty, of an uncertainty and of a curve,
relative, and every reading whose status, bound, conditions or words are others.
"""

from __future__ import annotations

import os

os.environ.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1", MKL_NUM_THREADS="1")

import argparse
import json
import math
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from analysis_speed import FULL_SCALE, RATE, cases

from backbench.catalogue import Catalogue
from backbench.documents.manifest import Conditions
from backbench.errors import Refusal
from backbench.ingest import run_ingest
from backbench.ingest.analyse import materials_of
from backbench.metrics.declaration import CaptureData
from backbench.metrics.measurement import Finding, Trace, measure
from backbench.metrics.registry import registry
from backbench.seed_dataset.example import FOLDER
from backbench.seed_dataset.scenario import settings_text
from backbench.signal.track import Track
from bench.adversary_draws import draw

SEED = 1
ALLOWED = 1e-9
"""Of its uncertainty, that a value may change by without a new method version."""

Kept = dict[str, list[object]]
"""By name of a reading: value, uncertainty, part of the record, degrees of freedom, and the rest as
text; of a curve: its ordinates."""


def example() -> Iterator[tuple[str, CaptureData]]:
    """The captures of the example review as an ingest measures them."""
    with tempfile.TemporaryDirectory() as folder:
        places = Catalogue.create(Path(folder), settings_text()).places
        run_ingest.prepare(places)
        for work in run_ingest.planned_work(places, [FOLDER])[0]:
            for job in (job for chunk in work.chunks for job in chunk):
                for part, capture in enumerate(materials_of(job)):
                    yield f"{job.source.name} {part}", capture


def timed_ones() -> Iterator[tuple[str, CaptureData]]:
    """The captures whose analysis is timed."""
    rng = np.random.default_rng(1)
    for name, (stimulus, volts) in cases().items():
        noisy = [volts + rng.normal(0, 1e-5, len(volts)) for _ in range(2)]
        tracks = {
            n: Track(v, float(RATE), FULL_SCALE, 0.004, 24) for n, v in enumerate(noisy, start=1)
        }
        reference = tracks[1] if stimulus.kind == "sweep" else None
        yield (
            name,
            CaptureData(
                stimulus, Conditions(load_ohm=8.0), tracks, reference=reference, mains_hz=50.0
            ),
        )


def drawn(first: int, count: int) -> Iterator[tuple[str, CaptureData]]:
    """The captures of the adversary's draws, each with its loop-backs."""
    for number in range(first, first + count):
        made = draw(SEED, number)
        for n, capture in enumerate(made.taken.captures):
            yield f"{made.key} {' + '.join(made.faults) or 'honest'} {n}", capture


def everything(first: int, draws: int) -> Kept:
    """All readings and curves by name."""
    kept: Kept = {}
    for source in (timed_ones(), example(), drawn(first, draws)):
        for name, capture in source:
            try:
                findings, traces = measure(capture)
            except Refusal as refusal:
                kept[name] = [str(refusal)]
                continue
            kept |= {f"{name} {n}: {f.metric.name}, track {f.track}": _reading(f)
                     for n, f in enumerate(findings)}  # fmt: skip
            kept |= {f"{name} curve {n}: {t.name}, track {t.track}": _ordinates(t)
                     for n, t in enumerate(traces)}  # fmt: skip
    return kept


def _reading(finding: Finding) -> list[object]:
    figure = finding.figure
    if figure is None:
        return [finding.status, finding.reason or ""]
    numbers = [figure.value, figure.uncertainty, figure.estimation, figure.dof]
    rest = (finding.status, figure.bound, figure.order, figure.frequency_hz, figure.limit_percent,
            figure.detail, finding.reason, figure.remark)  # fmt: skip
    return [*(float(x) for x in numbers), repr(rest)]


def _ordinates(trace: Trace) -> list[object]:
    return [float(x) for x in trace.data.y]


def difference(was: list[object], now: list[object]) -> float:
    """The greatest difference, in units of the uncertainty for a value, relative for the rest;
    infinite where words or the number of figures differ."""
    if len(was) != len(now):
        return math.inf
    words = [(a, b) for a, b in zip(was, now, strict=True) if isinstance(a, str)]
    if any(a != b for a, b in words):
        return math.inf
    numbers = [(a, b) for a, b in zip(was, now, strict=True) if isinstance(a, float)]
    if words and numbers:
        (value, new), (u, _) = numbers[:2]
        own = abs(value - new) / u if u > 0 else _relative(value, new)
        # A variance is uncertain by the inverse of its degrees of freedom.
        dof = abs(1 / numbers[3][0] - 1 / numbers[3][1])
        return max(own, dof, *(_relative(a, b) for a, b in numbers[1:3]))
    size = max((abs(a) for a, _ in numbers if math.isfinite(a)), default=0.0) or 1.0
    return max((abs(a - b) / size for a, b in numbers if math.isfinite(a)), default=0.0)


def _relative(was: object, now: object) -> float:
    assert isinstance(was, float)
    assert isinstance(now, float)
    if was == now or (math.isnan(was) and math.isnan(now)):
        return 0.0
    return abs(now - was) / max(abs(was), abs(now)) if math.isfinite(was) else math.inf


def report(was: Kept, now: Kept, shown: int) -> int:
    """Print the greatest differences; how many are beyond what is allowed."""
    missing = sorted(set(was) ^ set(now))
    ranked = sorted(((difference(was[name], now[name]), name) for name in set(was) & set(now)),
                    reverse=True)  # fmt: skip
    beyond = [name for size, name in ranked if size > ALLOWED]
    print(f"{len(ranked)} readings and curves; {len(missing)} only before or after")
    print(f"greatest difference {ranked[0][0]:.3g}; beyond {ALLOWED:g}: {len(beyond)}")
    for size, name in ranked[:shown]:
        if size > ALLOWED:
            print(f"  {size:.3g}  {name}\n    {was[name][:6]}\n    {now[name][:6]}")
    for name in missing[:shown]:
        print(f"  {'before' if name in was else 'after'} alone: {name}")
    return len(beyond) + len(missing)


def main() -> int:
    wanted = argparse.ArgumentParser(description=__doc__)
    wanted.add_argument("what", choices=("keep", "compare"))
    wanted.add_argument("file", type=Path)
    wanted.add_argument("--first", type=int, default=0, help="number of the first draw")
    wanted.add_argument("--draws", type=int, default=40)
    wanted.add_argument("--shown", type=int, default=20)
    given = wanted.parse_args()
    registry()
    now = everything(given.first, given.draws)
    if given.what == "keep":
        given.file.write_text(json.dumps(now), encoding="utf-8")
        print(f"{len(now)} readings and curves kept")
        return 0
    return report(json.loads(given.file.read_text(encoding="utf-8")), now, given.shown)


if __name__ == "__main__":
    sys.exit(bool(main()))
