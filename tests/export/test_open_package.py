"""The export: equal to the tables, described whole, readable by others."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import polars as pl
import pytest
from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.export.open_package import NOT_EXPORTED, export_catalogue


@pytest.fixture(scope="module")
def package(measured: Catalogue, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("export") / "out"
    ran = CliRunner().invoke(app, ["export", str(folder), "-c", str(measured.places.root)])
    assert ran.exit_code == 0, ran.output
    return folder


def test_parquet_holds_every_table_as_it_is(package: Path, measured: Catalogue) -> None:
    with measured.reading() as store:
        tables = [name for name in store.tables() if name not in NOT_EXPORTED]
        for name in tables:
            held = store.frame(f"FROM {name} ORDER BY ALL")
            assert pl.read_parquet(package / "parquet" / f"{name}.parquet").equals(held), name
    assert pl.read_parquet(package / "parquet" / "reading.parquet").height > 50


def test_csv_reads_back_by_another_reader(package: Path) -> None:
    with (package / "csv" / "reading.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    held = pl.read_parquet(package / "parquet" / "reading.parquet")
    assert [row["reading_key"] for row in rows] == held["reading_key"].to_list()
    values = [float(row["value"]) if row["value"] else None for row in rows]
    assert values == held["value"].to_list()
    with (package / "csv" / "curve.csv").open(newline="", encoding="utf-8") as stream:
        usual = csv.field_size_limit(10**9)
        first = next(csv.DictReader(stream))
    csv.field_size_limit(usual)
    curve = pl.read_parquet(package / "parquet" / "curve.parquet")
    assert json.loads(first["x"]) == curve["x"][0].to_list()


def test_the_description_names_every_file_column_and_key(package: Path) -> None:
    described = json.loads((package / "datapackage.json").read_text())
    assert described["profile"] == "tabular-data-package"
    paths = {resource["path"] for resource in described["resources"]}
    assert paths == {f"csv/{path.name}" for path in (package / "csv").iterdir()}
    names = {resource["name"] for resource in described["resources"]}
    for resource in described["resources"]:
        with (package / resource["path"]).open(newline="", encoding="utf-8") as stream:
            head = next(csv.reader(stream))
        fields = {field["name"]: field for field in resource["schema"]["fields"]}
        assert list(fields) == head
        undescribed = [name for name, field in fields.items() if not field["description"]]
        assert not undescribed, resource["name"]
        assert resource["description"]
        for link in resource["schema"].get("foreignKeys", []):
            assert link["reference"]["resource"] in names


def test_primary_keys_are_keys(package: Path) -> None:
    described = json.loads((package / "datapackage.json").read_text())
    for resource in described["resources"]:
        keys = resource["schema"].get("primaryKey")
        if keys:
            frame = pl.read_parquet(
                package / "parquet" / Path(resource["path"]).with_suffix(".parquet").name
            )
            assert frame.select(keys).is_duplicated().sum() == 0, resource["name"]


def test_a_full_folder_is_never_written_into(
    package: Path, measured: Catalogue, tmp_path: Path
) -> None:
    again = CliRunner().invoke(app, ["export", str(package), "-c", str(measured.places.root)])
    assert "a new or empty folder" in str(again.exception)
    with measured.reading() as store:
        assert export_catalogue(store, tmp_path / "none", "T", dry=True)
    assert not (tmp_path / "none").exists()
