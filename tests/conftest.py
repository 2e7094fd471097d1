"""Fixtures that several parts of the tests use."""

from __future__ import annotations

import gc
import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import typer.testing
from hypothesis import settings

from backbench.catalogue import Catalogue
from backbench.documents.kinds import use_own_kinds
from backbench.ingest import analyse
from backbench.ingest.analyse import Analysed
from backbench.ingest.analysis_plan import Job
from backbench.metrics.in_force import use_own_metrics
from demonstration import Demo, made_demo
from few_questions import few_available
from folder_in_memory import write_into_memory
from schema_made_once import use_one_schema
from simulated import CASES, CIRCUITS, simulated_catalogue

# The first call of a measurement imports what it needs: no test asserts a time. More examples are
# drawn with --hypothesis-profile=thorough.
settings.register_profile("untimed", deadline=None, max_examples=15)
settings.register_profile("thorough", deadline=None, max_examples=400)
settings.load_profile("untimed")

# A worker has one processor: frames as small as those of the tests gain nothing from threads.
os.environ.setdefault("POLARS_MAX_THREADS", "1")

# Commands in processes of their own would compile the program anew at every start.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# A command line's hundred options are read from the program once, not at every call of it.
typer.testing._get_command = cache(typer.testing._get_command)

use_one_schema()
write_into_memory()

LONG = (
    "tests/test_demo.py", "tests/seed_dataset/test_written_reviews.py",
    "tests/ingest/test_cluster.py", "tests/faults/test_no_network.py",
    "tests/browser/test_site_in_a_browser.py", "tests/test_spoiled_sessions.py",
    "tests/ingest/test_ingest.py", "tests/charts/test_chart_catalogue.py",
    "tests/faults/test_damage.py", "tests/test_bench_day.py", "tests/faults/test_failing_disks.py",
    "tests/corpus/", "tests/test_own_circuits.py",
    "tests/faults/test_many_at_once.py", "tests/browser/test_run_server_requests.py",
    "tests/test_run_server.py", "tests/queries/test_query_cases.py",
    "tests/bench_day/test_plans_that_can_be_taken.py", "tests/faults/test_kill_commands.py",
    "tests/comparison/test_one_rank.py", "tests/backfill/test_messy_spreadsheet.py",
    "tests/ingest/test_corrections_kept.py", "tests/ingest/test_refused_entries.py",
    "tests/publish/test_publishing.py", "tests/ingest/test_order_of_work.py",
    "tests/ingest/test_long_recordings.py", "tests/ingest/test_other_kernels.py",
    "tests/test_simulated_circuits.py", "tests/test_days_of_driven_kinds.py",
    "tests/comparison/test_out_of_date.py", "tests/test_command_lines.py",
    "tests/test_day_of_a_receiver.py", "tests/export/test_snapshot_of_the_database.py",
    "tests/publish/test_large_catalogue.py", "tests/publish/test_photographs.py",
    "tests/test_days_of_machines.py", "tests/faults/", "tests/test_additions.py",
    "tests/test_day_of_a_", "tests/test_days_of_line_kinds.py", "tests/comparison/",
)  # fmt: skip
"""Files that take longest, begun first, the longest of them before the others: a file is one
worker's, and the last one is waited for."""


gc.disable()  # until all tests are collected: imports leave nothing that is garbage


def pytest_collection_finish() -> None:
    """What is there when the tests begin stays to their end: it is not searched for garbage."""
    gc.collect()
    gc.freeze()
    gc.enable()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long files first; the order within a file stays."""
    items.sort(key=lambda item: _place(item.nodeid))


def _place(nodeid: str) -> int:
    """Where a test stands in the order: the later, the shorter its file."""
    return next((n for n, name in enumerate(LONG) if nodeid.startswith(name)), len(LONG))


OF_THE_DEMONSTRATION = "tests/test_demo.py"
SHARED = dict.fromkeys(
    (
        "tests/seed_dataset/test_written_reviews.py", "tests/seed_dataset/test_other_kinds.py",
        "tests/seed_dataset/test_amplifiers_truth.py",
    ),
    OF_THE_DEMONSTRATION,
)  # fmt: skip
"""Files that use what another has made: the worker that has the one gets the other too."""


def pytest_runtest_setup(item: pytest.Item) -> None:
    """A file that uses the demonstration is one of SHARED: making it takes longer than all else."""
    file = item.nodeid.partition("::")[0]
    if "demo" in getattr(item, "fixturenames", ()):
        assert SHARED.get(file, file) == OF_THE_DEMONSTRATION, f"{file} is to stand in SHARED"


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """One worker more than there are processors: some tests wait for servers and browsers."""
    return len(os.sched_getaffinity(0)) + 1


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Tests go to the workers by file, and files that share what takes long together."""
    if config.getvalue("dist") != "loadfile":
        return None
    from xdist.scheduler import LoadFileScheduling

    class BySharedFile(LoadFileScheduling):  # type: ignore[misc]
        def _split_scope(self, nodeid: str) -> str:
            file = str(super()._split_scope(nodeid))
            return SHARED.get(file, file)

    return BySharedFile(config, log)


@pytest.fixture(scope="module", autouse=True)
def nothing_of_another_catalogue() -> Iterator[None]:
    """Kinds and quantities of the catalogue that a file's tests opened last end with them."""
    yield
    use_own_kinds(())
    use_own_metrics(())


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--whole-demonstration",
        action="store_true",
        help="make the demonstration of every review, not of every fifth",
    )


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory, pytestconfig: pytest.Config) -> Demo:
    """The demonstration, as its command makes it. Not to be changed."""
    folder = tmp_path_factory.mktemp("demo") / "catalogue"
    return made_demo(folder, whole=pytestconfig.getoption("whole_demonstration"))


@pytest.fixture(scope="session")
def already_measured() -> dict[tuple[str, str], Analysed]:
    """Captures that were measured whole, by review and the key of all that their readings depend
    on."""
    return {}


@pytest.fixture
def measured_once(already_measured: dict[tuple[str, str], Analysed]) -> Iterator[None]:
    """A capture that another test had measured in this process isn't measured again."""
    with _remembering(already_measured):
        yield


@pytest.fixture(scope="module")
def measured_once_by_all(already_measured: dict[tuple[str, str], Analysed]) -> Iterator[None]:
    """The same for all tests and fixtures of a file."""
    with _remembering(already_measured):
        yield


@contextmanager
def _remembering(known: dict[tuple[str, str], Analysed]) -> Iterator[None]:
    measure = analyse.analyse

    def remembered(job: Job) -> Analysed:
        key = job.review_key, job.analysis_key
        result = known.get(key) or measure(job)
        if result.reason is None:
            known[key] = result
        return result

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(analyse, "analyse", remembered)
        yield


@pytest.fixture
def few_questions(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sites made by this process have pages of a few saved queries only."""
    monkeypatch.setattr("backbench.publish.site.available", few_available)


@pytest.fixture
def circuits(tmp_path: Path) -> Path:
    """A copy of the simulated circuits' review folders that a test may change."""
    copy = tmp_path / "reviews"
    for case in CASES:
        shutil.copytree(CIRCUITS / case, copy / case)
    return copy


@pytest.fixture(scope="session")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    """A catalogue with all simulated circuits taken in. Not to be changed."""
    catalogue = simulated_catalogue(tmp_path_factory.mktemp("measured") / "catalogue")
    outcomes, refused = catalogue.ingest([CIRCUITS / case for case in CASES], history=False)
    assert not refused
    assert [outcome.failed for outcome in outcomes] == [()] * len(CASES)
    return catalogue
