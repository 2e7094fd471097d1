"""Analysis by workers elsewhere: real processes on loopback, content as on this machine."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

import pytest

from backbench.catalogue import Catalogue
from cluster_processes import BUCKET, PATIENCE_S, Machines, free_port, machines
from simulated import CASES, CIRCUITS, contents_of, simulated_catalogue

for needed, extra in {"prefect_dask": "dask", "moto": "test"}.items():
    if find_spec(needed) is None:
        pytest.skip(f"the extra backbench[{extra}] is not installed", allow_module_level=True)

CAPTURES = 21
ONE = CIRCUITS / "single_ended_stage"


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Machines]:
    with machines(tmp_path_factory.mktemp("machines")) as begun:
        yield begun


def catalogue_for(folder: Path, scheduler: str, originals: object) -> Catalogue:
    """A catalogue of the simulated circuits' bench that sends its work to a scheduler."""
    catalogue = simulated_catalogue(folder)
    path = folder / "backbench.toml"
    table = f'\n[workers]\nscheduler = "{scheduler}"\noriginals = "{originals}"\n'
    path.write_text('engine = "dask"\n' + path.read_text() + table)
    return catalogue


def with_folder(cluster: Machines, folder: Path) -> tuple[Catalogue, Path]:
    """A catalogue of the cluster's, and the new folder that holds its originals."""
    store = folder / "store"
    store.mkdir()
    return catalogue_for(folder / "catalogue", cluster.scheduler, store), store


def take_in(cluster: Machines, catalogue: Catalogue, *reviews: Path) -> tuple[int, str]:
    cluster.fill()
    return cluster.run("ingest", *reviews, "-c", catalogue.places.root)


def everything(catalogue: Catalogue) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table: nothing is left out of the comparison."""
    result = contents_of(catalogue.places.root)
    assert len(result["capture"]) == CAPTURES
    return result


def test_an_original_changed_in_a_folder_fails_its_capture_alone_until_it_is_mended(
    cluster: Machines, measured: Catalogue, tmp_path: Path
) -> None:
    """Then the review's content is as from this machine, and so it is rebuilt."""
    catalogue, store = with_folder(cluster, tmp_path)
    file, sha256 = "sine_low.flac", _hash_of(measured, "sine_low.flac")
    changed = store / sha256[:2] / sha256
    whole = measured.places.vault.path(sha256).read_bytes()
    changed.parent.mkdir()
    changed.write_bytes(bytes([whole[0] ^ 1]) + whole[1:])
    code, printed = take_in(cluster, catalogue, ONE)
    assert code == 3, printed
    assert f"{file}: failed: found changed bytes at {changed}; expected bytes as they" in printed
    states = dict(_rows(catalogue, "SELECT file, status FROM capture"))
    assert states.pop(file) == "failed"
    assert set(states.values()) == {"analysed"}
    changed.unlink()
    code, printed = take_in(cluster, catalogue, ONE)
    assert (code, "3 whole (1 measured now, 2 unchanged)" in printed) == (0, True), printed
    assert {path.name for path in store.glob("??/*")} == _originals(catalogue)
    before = contents_of(catalogue.places.root)
    assert before["reading"] == _of_one_review(measured, "reading")
    assert before["curve"] == _of_one_review(measured, "curve")
    assert before["capture"] == _of_one_review(measured, "capture")
    code, printed = cluster.run("rebuild", "-c", catalogue.places.root)
    assert (code, printed.splitlines()[0]) == (0, "Rebuilt the database from 1 review.")
    assert contents_of(catalogue.places.root) == before


def test_a_scheduler_that_is_not_there_is_reported_in_words(
    cluster: Machines, tmp_path: Path
) -> None:
    nobody = f"tcp://127.0.0.1:{free_port()}"
    catalogue = catalogue_for(tmp_path / "catalogue", nobody, tmp_path)
    code, printed = take_in(cluster, catalogue, ONE)
    assert code == 1
    assert f"the scheduler can't be reached\n  {nobody}: found " in printed
    assert "Traceback" not in printed
    (outcome,), refused = catalogue.ingest([ONE], history=False, processes=1)
    assert (outcome.computed, outcome.failed, refused) == (3, (), [])


def test_content_is_equal_from_an_object_store_where_a_worker_is_killed_while_it_holds_work(
    cluster: Machines, measured: Catalogue, tmp_path: Path
) -> None:
    """Table by table. The last of these tests: none after it has a worker to begin again."""
    url = f"s3://{BUCKET}/originals"
    catalogue = catalogue_for(tmp_path / "catalogue", cluster.scheduler, url)
    cluster.fill()
    cluster.desk.begin("ingest", *(CIRCUITS / case for case in CASES), "-c", catalogue.places.root)
    assert cluster.kill_one_at_work()
    code, printed = cluster.desk.answer(PATIENCE_S)
    assert code == 0, printed
    assert everything(catalogue) == everything(measured)
    assert not list(catalogue.places.staged.iterdir())


def _rows(catalogue: Catalogue, sql: str) -> list[tuple[str, ...]]:
    with catalogue.reading() as store:
        return store.rows(sql)


def _hash_of(catalogue: Catalogue, file: str) -> str:
    sql = f"SELECT sha256 FROM capture WHERE review_key = 'single-ended-stage' AND file = '{file}'"
    ((sha256,),) = _rows(catalogue, sql)
    return sha256


def _of_one_review(catalogue: Catalogue, table: str) -> list[tuple[str, ...]]:
    rows = _rows(catalogue, f"FROM {table} WHERE review_key = 'single-ended-stage'")
    return sorted(rows, key=repr)


def _originals(catalogue: Catalogue) -> set[str]:
    return {file for (file,) in _rows(catalogue, "SELECT DISTINCT sha256 FROM analysis_capture")}
