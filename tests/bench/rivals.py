"""What a reviewer would do without this program: python tests/bench/rivals.py

Three ways around it, each beside what takes its place here, in one process, on the same data:
a notebook that reads each tone capture and works out each figure from a periodogram of its own;
a ranking by pandas over readings exported as CSV; stills by matplotlib. The rivals give fewer
figures and no uncertainties. Needs the extra `backbench[bench]`.
"""

from __future__ import annotations

import os

os.environ.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1", POLARS_MAX_THREADS="1")

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
import pandas
import soundfile
from large_catalogue import make
from rows import Row, tell, timed
from scipy.signal import find_peaks, periodogram

from backbench.catalogue import Catalogue
from backbench.charts.image_export import STILL, save
from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.stimuli import Tone
from backbench.ingest import run_ingest
from backbench.ingest.analyse import analyse
from backbench.ingest.analysis_plan import Job
from backbench.seed_dataset.maker import write_catalogue_inputs
from backbench.seed_dataset.scenario import settings_text
from backbench.storage.database import reading

matplotlib.use("Agg")
REVIEWS = 12
LEAST = "noise_a"


def spectrum(path: Path, track: int) -> tuple[np.ndarray, np.ndarray]:
    samples, rate = soundfile.read(path, always_2d=True)
    return periodogram(samples[:, track], rate, window="blackmanharris", scaling="spectrum")


def fundamental(path: Path, track: int) -> tuple[float, float]:
    hz, power = spectrum(path, track)
    peaks, _ = find_peaks(power)
    best = peaks[np.argmax(power[peaks])]
    return float(hz[best]), float(power[best - 4 : best + 5].sum())


def harmonics(path: Path, track: int) -> list[float]:
    at, _ = fundamental(path, track)
    hz, power = spectrum(path, track)
    step = hz[1]
    places = [round(at * n / step) for n in range(2, 11) if at * n < hz[-5]]
    return [float(power[p - 4 : p + 5].sum()) for p in places]


def thd(path: Path, track: int) -> float:
    return float(np.sqrt(sum(harmonics(path, track)) / fundamental(path, track)[1]))


def noise(path: Path, track: int) -> float:
    hz, power = spectrum(path, track)
    played = fundamental(path, track)[1] + sum(harmonics(path, track))
    return float(power[(hz >= 20) & (hz <= 20_000)].sum() - played)


NOTEBOOK: tuple[Callable[[Path, int], Any], ...] = (fundamental, harmonics, thd, noise)


def tone_jobs(folder: Path) -> list[Job]:
    reviews = write_catalogue_inputs(folder, workers=2)[:REVIEWS]
    catalogue = Catalogue.create(folder / "catalogue", settings_text())
    run_ingest.prepare(catalogue.places)
    works, _ = run_ingest.planned_work(catalogue.places, reviews)
    jobs = [job for work in works for chunk in work.chunks for job in chunk]
    return [job for job in jobs if isinstance(job.stimulus, Tone)]


def against_a_notebook(folder: Path) -> None:
    jobs = tone_jobs(folder)

    def notebook() -> None:
        for job in jobs:
            for figure in NOTEBOOK:
                for track in job.roles:
                    figure(job.source.path, track - 1)

    theirs = timed(notebook, 2)
    ours = timed(lambda: [analyse(job) for job in jobs], 2)
    tell(Row(f"{len(jobs)} tone captures analysed, one process", ours, "s", "scipy notebook",
             theirs, 1.0))  # fmt: skip


RANKED = """
SELECT unit_key, technology, metric, point_key, value, reviewed FROM reading
JOIN reading_point USING (review_key, reading_key) JOIN review USING (review_key)
JOIN appearance USING (review_key, unit_key)
"""


def against_pandas(root: Path) -> None:
    (root / SETTINGS_NAME).write_text('title = "many units"\n')
    make(root)
    with reading(root) as store:
        store.frame(RANKED).write_csv(root / "readings.csv")

    def by_pandas() -> None:
        rows = pandas.read_csv(root / "readings.csv")
        rows = rows[(rows["metric"] == LEAST) & (rows["point_key"] == "idle")]
        newest = rows[rows["reviewed"] == rows.groupby("unit_key")["reviewed"].transform("max")]
        each = newest.groupby(["unit_key", "technology"], as_index=False)["value"].max()
        each["rank"] = each.groupby("technology")["value"].rank()
        each.sort_values("value")

    catalogue = Catalogue(root)
    ours = timed(lambda: catalogue.query("quietest-of-a-kind"), 3)
    tell(Row("ranking of 10,000 units by noise, catalogue opened", ours, "s", "pandas over CSV",
             timed(by_pandas, 2), 1.0))  # fmt: skip


def against_matplotlib(folder: Path) -> None:
    catalogue = Catalogue(folder / "catalogue")
    catalogue.ingest(sorted((folder / "reviews").iterdir())[:REVIEWS], history=False)
    rows = catalogue.query("quietest-of-a-kind")
    from matplotlib import pyplot

    def by_matplotlib() -> None:
        figure, axes = pyplot.subplots(figsize=(19.2, 10.8), dpi=100)
        axes.set_xscale("log")
        axes.scatter(rows["value"], range(rows.height))
        axes.set_yticks(range(rows.height), rows["label"].to_list())
        figure.savefig(folder / "theirs.png")
        pyplot.close(figure)

    theirs = timed(by_matplotlib, 3)
    ours = timed(lambda: save(catalogue.chart("quietest-of-a-kind"), folder / "ours.png", STILL), 3)
    tell(Row(f"still of a ranking, {STILL.width} x {STILL.height}", ours, "s", "matplotlib",
             theirs, 1.0))  # fmt: skip


def main() -> None:
    with tempfile.TemporaryDirectory() as one, tempfile.TemporaryDirectory() as other:
        against_a_notebook(Path(one))
        against_matplotlib(Path(one))
        against_pandas(Path(other))


if __name__ == "__main__":
    main()
