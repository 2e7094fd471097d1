"""A review sheet printed to PDF by a real browser."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from backbench.catalogue import Catalogue
from backbench.publish import standalone_page
from backbench.publish.sheet_charts import ChartRenderer
from backbench.publish.site_builder import SiteBuilder
from backbench.publish.site_data import read_site_data
from backbench.querying.saved_queries import available
from installed_chromium import chromium

REVIEW = "push-pull-taps"


def first_page(path: Path) -> str:
    """The text of a PDF's first page, by Poppler's pdftotext."""
    command = ["pdftotext", "-l", "1", "-layout", str(path), "-"]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


@pytest.mark.parametrize(("paper", "width", "height"), [("A4", 595, 842), ("letter", 612, 792)])
def test_a_sheet_is_printed(
    measured: Catalogue, tmp_path: Path, paper: str, width: int, height: int
) -> None:
    chromium()
    path = tmp_path / "sheet.pdf"
    with measured.reading() as store:
        renderer = ChartRenderer(store, available(measured.places.root), None)
        builder = SiteBuilder(renderer, read_site_data(store), measured.settings, tmp_path)
        standalone_page.save_sheet(builder, REVIEW, path, paper)
    data = path.read_bytes()
    assert data.startswith(b"%PDF-")
    assert data.rstrip().endswith(b"%%EOF")
    pages = len(re.findall(rb"/Type\s*/Page\b(?!s)", data))
    assert 1 <= pages <= 6
    boxes = re.findall(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", data)
    assert {(round(float(w)), round(float(h))) for w, h in boxes} == {(width, height)}
    assert [p.name for p in tmp_path.iterdir()] == ["sheet.pdf"]
    if shutil.which("pdftotext"):
        text = first_page(path)
        for words in ("Review sheet", "Simulated pentode stage", "Before opening a unit", "tube"):
            assert words in text
        assert "file://" not in text
