"""Site, sheet and stills of the simulated circuits, from the commands' own functions."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from backbench.catalogue import Catalogue
from backbench.errors import UserError
from backbench.publish import browser, site, standalone_page, stills
from backbench.publish.compared_curves import compared_curves
from backbench.publish.output_files import OutputFile
from backbench.publish.sheet_charts import ChartRenderer
from backbench.publish.site import publish
from backbench.publish.site_builder import SiteBuilder, comparison_data
from backbench.publish.site_data import read_site_data
from backbench.publish.stills import write_stills
from backbench.querying.saved_queries import available
from backbench.storage import database, fault_injection

REVIEW = "push-pull-taps"


@pytest.fixture
def builder(measured: Catalogue, tmp_path: Path) -> Iterator[SiteBuilder]:
    with measured.reading() as store:
        renderer = ChartRenderer(store, available(measured.places.root), None)
        yield SiteBuilder(renderer, read_site_data(store), measured.settings, tmp_path)


@pytest.mark.usefixtures("few_questions")
def test_a_site_is_made_once_and_mended(measured: Catalogue, tmp_path: Path) -> None:
    root = measured.places.root
    first = publish(root, tmp_path)
    assert first.troubles == ()
    assert {"index.html", "compare.html", f"sheets/{REVIEW}.html"} <= set(first.written)
    assert all((tmp_path / path).is_file() for path in first.written)
    assert publish(root, tmp_path).nothing_new
    (tmp_path / "makers.html").unlink()
    (tmp_path / "method.html").write_text("changed by hand")
    again = publish(root, tmp_path)
    assert again.written == ("makers.html", "method.html")
    assert again.removed == ()


def test_a_worker_that_ends_is_reported_and_leaves_no_part_of_a_site(
    measured: Catalogue, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(site, "FEW", 0)
    # This process writes a copy of the database and its log; workers write more.
    monkeypatch.setenv(fault_injection.VARIABLE, "write:3:kill")
    with pytest.raises(UserError, match="can't be made"):
        publish(measured.places.root, tmp_path / "site", processes=2)
    assert [path for path in tmp_path.iterdir() if path.is_dir()] == []


@pytest.mark.usefixtures("few_questions")
def test_the_catalogue_may_be_changed_while_pages_are_made(
    measured: Catalogue, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    root, changed = measured.places.root, []

    def while_changed(*_: object) -> Iterator[OutputFile]:
        with database.writing(root) as store:
            changed.extend(store.rows("SELECT count(*) FROM review"))
        return iter(())

    monkeypatch.setattr(site, "_all", while_changed)
    publish(root, tmp_path / "site")
    assert changed


def test_a_sheet_of_its_own_needs_no_other_file(builder: SiteBuilder, tmp_path: Path) -> None:
    path = tmp_path / "sheet.html"
    standalone_page.save_sheet(builder, REVIEW, path)
    text = path.read_text(encoding="utf-8")
    assert "<nav" not in text
    assert 'href="..' not in text
    assert 'src="..' not in text
    sha = builder.renderer.store.rows(
        "SELECT sha256 FROM capture WHERE review_key = $r", {"r": REVIEW}
    )
    assert all(str(value) in text for (value,) in sha)


def test_charts_of_a_sheet_are_not_laid_out_as_photographs(
    builder: SiteBuilder, tmp_path: Path
) -> None:
    """Two beside each other, their labels can't be read."""
    path = tmp_path / "sheet.html"
    standalone_page.save_sheet(builder, REVIEW, path)
    text = path.read_text(encoding="utf-8")
    assert "<h3>Charts</h3>" in text
    assert 'class="photographs"' not in text


def test_what_cannot_be_written_is_said(
    builder: SiteBuilder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(UserError, match=r"\.html or \.pdf"):
        standalone_page.save_sheet(builder, REVIEW, tmp_path / "sheet.doc")
    with pytest.raises(UserError, match="did you mean push-pull-taps"):
        standalone_page.save_sheet(builder, "push-pull-tap", tmp_path / "sheet.html")
    monkeypatch.setattr(browser.shutil, "which", lambda name: None)
    with pytest.raises(UserError, match="Chromium to print"):
        standalone_page.save_sheet(builder, REVIEW, tmp_path / "sheet.pdf")
    assert list(tmp_path.iterdir()) == []


def test_stills_are_numbered_with_captions(builder: SiteBuilder, tmp_path: Path) -> None:
    (tmp_path / "09-left-over.png").write_bytes(b"")
    (tmp_path / "notes.txt").write_text("mine")
    paths = write_stills(builder, REVIEW, tmp_path)
    pictures = [path for path in paths if path.suffix == ".png"]
    assert pictures
    assert [int(path.name[:2]) for path in pictures] == list(range(1, len(pictures) + 1))
    for path in pictures:
        header = path.read_bytes()[:24]
        assert int.from_bytes(header[16:20], "big") == 1920
        assert int.from_bytes(header[20:24], "big") == 1080
        assert "Simulated" in path.with_suffix(".txt").read_text(encoding="utf-8")
    assert not (tmp_path / "09-left-over.png").exists()
    assert (tmp_path / "notes.txt").exists()
    with pytest.raises(UserError, match="not known"):
        write_stills(builder, "nothing", tmp_path)


def test_a_pair_is_shown_together_and_what_one_lacks_alone() -> None:
    def still(name: str, subject: str) -> stills.Still:
        return stills.Still(name, subject, (subject,), f"{name} of {subject}\n")  # type: ignore[arg-type]

    first = [still("response", "left"), still("idle", "left")]
    second = [still("response", "right"), still("profile", "right")]
    both, alone, other = stills._both(first, second, together=True)
    assert (both.subject, both.drawings) == ("left-and-right", ("left", "right"))
    assert both.caption == "response of left\n\nresponse of right\n"
    assert (alone, other) == (first[1], second[1])
    left, right, *_ = stills._both(first, second, together=False)
    assert (left.drawings, left.beside) == (("left",), ("right",))
    assert (right.drawings, right.beside) == (("right",), ("left",))


def test_curves_that_are_laid_over_each_other_are_the_catalogues(builder: SiteBuilder) -> None:
    positions = {key: n for n, key in enumerate(builder.site_data.units)}
    response, distortion, _ = compared_curves(builder.renderer.store, positions)
    keys = list(builder.site_data.units)
    assert response["of"]
    for position, outputs in response["of"].items():
        frame = builder.renderer.run("responses-overlaid", first=keys[int(position)])
        for output, (x, y, _) in outputs.items():
            rows = frame.filter(unit_key=keys[int(position)], output=output)
            assert x == pytest.approx(rows["x"].to_list(), rel=1e-4)
            assert y == pytest.approx(rows["y"].to_list(), rel=1e-4, abs=1e-9)
    for position, outputs in distortion["of"].items():
        drawn = builder.renderer.run("distortion-over-power", unit=keys[int(position)])
        for output, (x, y, _) in outputs.items():
            rows = drawn.filter(unit_key=keys[int(position)], output=output)
            rows = rows.filter(rows["bound"].is_null())
            assert x == pytest.approx(rows["power_w"].to_list(), rel=1e-4)
            assert y == pytest.approx(rows["thd_percent"].to_list(), rel=1e-4)


def test_what_is_set_side_by_side_are_the_catalogues_values(builder: SiteBuilder) -> None:
    (data,) = comparison_data(builder.site_data)
    assert [key for key, _, _ in data["units"]] == list(builder.site_data.units)
    for place in data["places"]:
        values = [result[0] for result in place["values"].values()]
        assert place["ends"] == [min(values), max(values)]
    metric, point = "thd", "tone-1khz-1w-8ohm"
    held = builder.site_data.values[metric, point, None]
    title = next(iter(held.values()))["title"]
    message = (title, builder.site_data.points[point])
    thd = next(place for place in data["places"] if (place["title"], place["point"]) == message)
    assert len(thd["values"]) == len(held) > 1
    for position, result in thd["values"].items():
        key = data["units"][int(position)][0]
        assert result[0] == pytest.approx(held[key]["value"], rel=1e-5)
