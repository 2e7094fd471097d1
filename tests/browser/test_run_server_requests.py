"""What the orchestrator's server answers: its own page and processes, nobody else."""

from __future__ import annotations

import os
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from run_server_access import COUNT, STARTED, authorization, count_request

SEND = """
async ([address, header]) => {
  const tries = [
    fetch(address, {method: "POST", body: "{}", mode: "no-cors",
                    headers: {"Content-Type": "text/plain"}}),
    fetch(address, {method: "POST", body: "{}",
                    headers: {"Content-Type": "application/json", "Authorization": header}}),
    fetch(address),
  ];
  const ended = await Promise.allSettled(tries);
  return ended.map(one =>
    one.status === "fulfilled" ? one.value.type + one.value.status : "refused");
}
"""


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """Address and password of a server that runs."""
    home = tmp_path_factory.mktemp("home")
    own = {name: value for name, value in os.environ.items() if not name.startswith("PREFECT_")}
    starter = subprocess.Popen(
        [sys.executable, "-c", STARTED, home], stdout=subprocess.PIPE, text=True,
        env={**own, "HTTP_PROXY": "http://127.0.0.1:9"},
    )  # fmt: skip
    assert starter.stdout is not None
    with starter.stdout:
        _, address, password = starter.stdout.readline().split()
    yield address, password
    starter.terminate()
    starter.wait(30)


def answer(address: str, password: str = "", **headers: str) -> int:
    """The status of a request for the number of runs."""
    request = count_request(address, password, **headers)
    direct = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with direct.open(request, timeout=30) as got:
            return int(got.status)
    except urllib.error.HTTPError as error:
        return error.code


def test_the_password_is_required(server: tuple[str, str]) -> None:
    address, password = server
    assert answer(address, password) == 200
    assert answer(address) == 401
    assert answer(address, "backbench:guessed") == 401


def test_another_origin_or_host_is_refused_with_the_password_too(server: tuple[str, str]) -> None:
    address, password = server
    assert answer(address, password, Origin=address) == 200
    assert answer(address, password, Origin="http://pages.example") == 403
    assert answer(address, password, Origin="null") == 403
    assert answer(address, password, Host="pages.example") == 403


def test_a_page_of_another_origin_gets_nothing(
    server: tuple[str, str], browser: object, tmp_path: Path
) -> None:
    address, password = server
    (tmp_path / "page.html").write_text("<!doctype html><title>a page</title>")
    page = browser.new_page()  # type: ignore[attr-defined]
    statuses: list[int] = []
    page.on("response", lambda got: statuses.append(got.status) if COUNT in got.url else None)
    page.goto((tmp_path / "page.html").as_uri())
    seen = page.evaluate(SEND, [address + COUNT, authorization(password)])
    page.close()
    assert seen[0] in {"opaque0", "refused"}, seen
    assert seen[1:] == ["refused", "refused"], seen
    assert all(status >= 400 for status in statuses), statuses
