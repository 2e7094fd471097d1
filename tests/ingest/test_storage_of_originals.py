"""Originals copied up to shared storage, fetched by hash, and what is sent along with them."""

from __future__ import annotations

import pickle
from collections.abc import Iterator, Sequence
from importlib.util import find_spec
from pathlib import Path

import pytest

from backbench.catalogue import Catalogue
from backbench.errors import UserError
from backbench.ingest.analysis_plan import Source
from backbench.ingest.incremental import Work
from backbench.ingest.load import environment
from backbench.ingest.run_ingest import planned_work
from backbench.ingest.staging import analyses_of
from backbench.orchestration import dask_cluster
from backbench.orchestration.dask_cluster import ClusterWorkers, Request, Tables, analyse_on_worker
from backbench.orchestration.shared_originals import Copies, fetch
from backbench.storage.vault import Vault
from cluster_processes import BUCKET, s3_server
from faults.small_catalogue import small_catalogue, write_review

fsspec = pytest.importorskip("fsspec", reason="the extra backbench[dask] is not installed")
for needed, extra in {"s3fs": "dask", "moto": "test"}.items():
    if find_spec(needed) is None:
        pytest.skip(f"the extra backbench[{extra}] is not installed", allow_module_level=True)


@pytest.fixture(autouse=True)
def one_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a worker is begun with."""
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "1")


@pytest.fixture
def catalogue(tmp_path: Path) -> Catalogue:
    return small_catalogue(tmp_path / "catalogue")


@pytest.fixture
def works(catalogue: Catalogue, tmp_path: Path) -> list[Work]:
    """Two reviews of two captures, not analysed yet."""
    for name in ("auk", "tern"):
        write_review(tmp_path / name, 0)
    works, refused = planned_work(catalogue.places, [tmp_path / "auk", tmp_path / "tern"])
    assert not refused
    return works


@pytest.fixture(scope="module")
def object_store() -> Iterator[None]:
    """An S3 server, known to fsspec by its own configuration."""
    with s3_server() as address:
        fsspec.config.conf["s3"] = {"endpoint_url": address, "key": "none", "secret": "none"}
        yield
        del fsspec.config.conf["s3"]


@pytest.fixture(params=["folder", "file", "s3"])
def url(request: pytest.FixtureRequest, tmp_path: Path, object_store: None) -> str:
    """A folder, the same as a URL, and storage that is no folder."""
    (tmp_path / "store").mkdir()
    path = str(tmp_path / "store")
    bucket = f"s3://{BUCKET}{path}"
    return {"folder": path, "file": f"file://{path}", "s3": bucket}[request.param]


def sources_of(works: Sequence[Work]) -> list[Source]:
    """Each original once."""
    jobs = [job for work in works for chunk in work.chunks for job in chunk]
    return list({source.sha256: source for job in jobs for source in job.sources}.values())


def held(url: str) -> dict[str, bytes]:
    """What the storage holds, by the end of its name."""
    system, root = fsspec.core.url_to_fs(url)
    return {name.removeprefix(root).lstrip("/"): system.cat(name) for name in system.find(root)}


def test_what_is_copied_up_comes_back_by_hash(
    catalogue: Catalogue, works: list[Work], url: str, tmp_path: Path
) -> None:
    sources = sources_of(works)
    Copies(catalogue.places.vault, url).bring(sources)
    whole = {f"{s.sha256[:2]}/{s.sha256}": s.path.read_bytes() for s in sources}
    assert held(url) == whole
    elsewhere = Vault(tmp_path / "elsewhere")
    assert fetch(url, sources, elsewhere) == {}
    for source in sources:
        assert elsewhere.path(source.sha256).read_bytes() == source.path.read_bytes()


def test_only_what_lacks_or_has_another_size_is_copied(
    catalogue: Catalogue, works: list[Work], url: str
) -> None:
    short, same, lacking, *_ = sources = sources_of(works)
    system, root = fsspec.core.url_to_fs(url)
    for source, data in ((short, b"cut"), (same, bytes(same.path.stat().st_size))):
        system.makedirs(f"{root}/{source.sha256[:2]}", exist_ok=True)
        system.pipe_file(f"{root}/{source.sha256[:2]}/{source.sha256}", data)
    Copies(catalogue.places.vault, url).bring(sources)
    actual = {name.rpartition("/")[2]: data for name, data in held(url).items()}
    assert actual[short.sha256] == short.path.read_bytes()
    assert actual[lacking.sha256] == lacking.path.read_bytes()
    assert not any(actual[same.sha256])


def test_missing_and_changed_copies_are_reported_and_stay_away(
    catalogue: Catalogue, works: list[Work], url: str, tmp_path: Path
) -> None:
    missing, changed, *others = sources = sources_of(works)
    Copies(catalogue.places.vault, url).bring(sources[1:])
    system, root = fsspec.core.url_to_fs(url)
    place = f"{root}/{changed.sha256[:2]}/{changed.sha256}"
    system.rm(place)
    system.pipe_file(place, b"other bytes")
    elsewhere = Vault(tmp_path / "elsewhere")
    faults = fetch(url, sources, elsewhere)
    assert {sha256: fault.found.split(" at ")[0] for sha256, fault in faults.items()} == {
        missing.sha256: "no such file", changed.sha256: "changed bytes",
    }  # fmt: skip
    assert f"{url}/{missing.sha256[:2]}/{missing.sha256}" in faults[missing.sha256].found
    kept = {path.name for path in elsewhere.folder.glob("??/*")}
    assert kept == {source.sha256 for source in others}


def test_what_is_damaged_in_the_vault_is_not_copied_up(
    catalogue: Catalogue, works: list[Work], url: str
) -> None:
    damaged, *others = sources = sources_of(works)
    damaged.path.chmod(0o644)
    damaged.path.write_bytes(bytes(damaged.path.stat().st_size))
    Copies(catalogue.places.vault, url).bring(sources)
    assert {name.rpartition("/")[2] for name in held(url)} == {s.sha256 for s in others}


def test_a_vault_that_workers_see_itself_is_left_alone(
    catalogue: Catalogue, works: list[Work]
) -> None:
    vault = catalogue.places.vault
    before = {path: path.stat().st_mtime_ns for path in vault.folder.rglob("*")}
    Copies(vault, str(vault.folder)).bring(sources_of(works))
    assert {path: path.stat().st_mtime_ns for path in vault.folder.rglob("*")} == before


def test_storage_that_can_not_be_used_is_reported_in_words(
    catalogue: Catalogue, works: list[Work], tmp_path: Path, object_store: None
) -> None:
    vault = catalogue.places.vault
    with pytest.raises(UserError, match="no such folder"):
        Copies(vault, str(tmp_path / "not-mounted"))
    with pytest.raises(UserError, match="a kind of storage that fsspec supports"):
        Copies(vault, "nonsense://bucket/folder")
    no_bucket = Copies(vault, "s3://no-such-bucket/originals")
    with pytest.raises(UserError, match=r"no-such-bucket/originals: found .*; expected storage"):
        no_bucket.bring(sources_of(works))
    with pytest.raises(UserError, match=r"a bucket/originals: found .*; expected storage"):
        fetch("s3://not a bucket/originals", sources_of(works), Vault(tmp_path / "elsewhere"))


def test_nothing_of_this_machine_is_sent(catalogue: Catalogue, works: list[Work]) -> None:
    for work in works:
        for chunk in work.chunks:
            sent = pickle.dumps(Request(chunk, "s3://bucket/originals", environment()))
            assert str(catalogue.places.root).encode() not in sent
            assert str(Path.home()).encode() not in sent
            assert chunk[0].source.sha256.encode() in sent


class Nearby:
    """Stands for the cluster: analyses a request when it is waited for."""

    def __init__(self, request: Request) -> None:
        self.request = request
        Nearby.waiting += 1
        Nearby.most = max(Nearby.most, Nearby.waiting)

    waiting = most = 0

    def result(self) -> Tables:
        Nearby.waiting -= 1
        return analyse_on_worker(self.request)


def test_reviews_are_collected_with_few_chunks_under_way(
    catalogue: Catalogue, works: list[Work], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(dask_cluster, "AHEAD", 1)
    Nearby.waiting = Nearby.most = 0
    done: list[int] = []
    copies = Copies(catalogue.places.vault, "memory://store")
    workers = ClusterWorkers(works, tmp_path / "staged", copies, Nearby, done.append)
    for work in works:
        staged = [key for path in workers.collect(work) for key in analyses_of(path)]
        assert staged == [job.analysis_key for chunk in work.chunks for job in chunk]
    assert done == [2, 2]
    assert (Nearby.waiting, Nearby.most) == (0, 1)
    fsspec.filesystem("memory").store.clear()


def test_a_worker_that_would_compute_otherwise_is_refused(
    works: list[Work], monkeypatch: pytest.MonkeyPatch
) -> None:
    chunk = works[0].chunks[0]
    with pytest.raises(UserError, match=r"numpy of a worker: found .*; expected 1\.0"):
        analyse_on_worker(Request(chunk, "memory://store", {**environment(), "numpy": "1.0"}))
    monkeypatch.delenv("OPENBLAS_NUM_THREADS")
    with pytest.raises(UserError, match="THREADS of a worker: missing; required: 1"):
        analyse_on_worker(Request(chunk, "memory://store", environment()))


def test_rows_of_other_methods_are_refused(
    catalogue: Catalogue, works: list[Work], tmp_path: Path
) -> None:
    class Other(Nearby):
        def result(self) -> Tables:
            return Nearby(Request(works[1].chunks[0], copies.url, environment())).result()

    copies = Copies(catalogue.places.vault, "memory://store")
    workers = ClusterWorkers(works, tmp_path / "staged", copies, Other, lambda _: None)
    with pytest.raises(UserError, match="returned other rows than were requested"):
        workers.collect(works[0])
    fsspec.filesystem("memory").store.clear()
