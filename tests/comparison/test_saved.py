"""Saved queries: the header held to the letter, values bound, nothing but reading."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from backbench.charts import own_queries
from backbench.charts.own_queries import chart_faults
from backbench.errors import UserError
from backbench.querying.parameter_values import parameter_value
from backbench.querying.saved_queries import SavedQuery, available, faulty, load, shipped
from backbench.storage.database import reading

GOOD = """\
-- title: Values above a limit
-- question: Which values are
--   above it?
-- grain: n
-- parameter above: number = 1; the limit
-- parameter word: text = ''; any text
-- column n: V; Number
-- column said: -; Text
-- chart: ranked; scale = log
SELECT n, $word || '$above; -- not a parameter' AS said FROM range(5) AS t(n) -- $nor_this
WHERE n > $above ORDER BY n
"""


def one(tmp_path: Path, text: str) -> SavedQuery:
    (tmp_path / "values-above.sql").write_text(text, encoding="utf-8")
    return load([tmp_path])["values-above"]


def run(given: Any, query: SavedQuery, **values: str) -> list[tuple[Any, ...]]:
    with reading(given.build()) as store:
        return query.run(store, values).rows()


def test_header_is_read(tmp_path: Path) -> None:
    query = one(tmp_path, GOOD)
    assert query.question == "Which values are above it?"
    assert query.grain == ("n",)
    assert [(p.name, p.type, p.default) for p in query.parameters] == [
        ("above", "number", "1"), ("word", "text", ""),
    ]  # fmt: skip
    assert [column.heading for column in query.columns] == ["Number (V)", "Text"]
    assert (query.chart, dict(query.chart_options)) == ("ranked", {"scale": "log"})


def test_values_are_bound_not_pasted(given: Any, tmp_path: Path) -> None:
    hostile = "'; DROP TABLE reading; --"
    rows = run(given, one(tmp_path, GOOD), above="3", word=hostile)
    assert rows == [(4, hostile + "$above; -- not a parameter")]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("-- title: Values above a limit\n", "", "line 1: found a header without 'title'"),
        ("-- chart: ranked", "-- colour: red", "line 9: found the unknown key 'colour'"),
        ("-- grain: n", "-- grain: m", "line 4: found 'm' in the grain"),
        ("-- grain: n", "-- grain: n\n-- needed: n, m", "line 5: found 'm' in the needed columns"),
        ("-- column n: V;", "-- column n: {unit};", "line 7: found 'unit' in the unit of column n"),
        ("number = 1", "numbr = 1", "line 5: found the type 'numbr'"),
        (
            "number = 1",
            "number = one",
            "line 5: found the default 'one' of 'above'",
        ),
        ("number = 1; the limit", "number", "line 5: found 'number'"),
        ("column n: V;", "column n:", "line 7: found 'Number'"),
        ("n > $above", "n > $below", "line 11: found the undeclared $below"),
        ("n > $above", "n > 1", "line 5: found the parameter 'above', which is not used"),
        ("ORDER BY n", "ORDER BY n; SELECT 1", "line 11: found more than one statement"),
        ("SELECT n,", "DELETE FROM reading; SELECT n,", "line 10: found 'DELETE FROM"),
        ("ORDER BY n", "", "line 10: found no ORDER BY"),
        (
            "-- column said",
            "-- column n",
            "line 8: found a second 'column n' (the first",
        ),
        ("scale = log", "scale", "line 9: found 'scale'"),
        ("-- grain: n\n", "-- grain n\n", "line 4: found '-- grain n'"),
        ("-- grain: n\n", "-- grain: n\n-- metric: tdh\n", "line 5: found metric 'tdh'"),
    ],
)
def test_faults_are_reported_with_file_and_line(
    tmp_path: Path, old: str, new: str, message: str
) -> None:
    assert old in GOOD
    with pytest.raises(UserError) as caught:
        one(tmp_path, GOOD.replace(old, new))
    assert message in str(caught.value)
    assert "values-above.sql" in str(caught.value)
    assert all(fault.remedy for fault in caught.value.faults)


def test_all_faults_of_all_files_at_once(tmp_path: Path) -> None:
    (tmp_path / "other.sql").write_text("SELECT 1", encoding="utf-8")
    with pytest.raises(UserError) as caught:
        one(tmp_path, GOOD.replace("grain: n", "grian: n").replace("number =", "numbr ="))
    message = [fault.where.rsplit("/", 1)[1] for fault in caught.value.faults]
    assert [t for t in message if t.startswith("other")] != []
    assert len([t for t in message if t.startswith("values-above")]) == 3


@pytest.mark.parametrize(
    ("statement", "message"),
    [
        ("SELECT * FROM read_csv('/etc/passwd') ORDER BY 1", "disabled"),
        ("SELECT content FROM read_text('/etc/passwd') ORDER BY 1", "disabled"),
        ("SELECT * FROM '/etc/passwd' ORDER BY 1", "/etc/passwd"),
        ("SELECT * FROM 'https://example.org/a.csv' ORDER BY 1", "https"),
        ("SELECT nothing FROM reading ORDER BY 1", "nothing"),
        ("WITH a AS (SELECT 1) INSERT INTO migration SELECT 1, '', '' ORDER BY 1", "read-only"),
    ],
)
def test_own_statements_reach_neither_files_nor_network(
    given: Any, tmp_path: Path, statement: str, message: str
) -> None:
    head = "-- title: t\n-- question: q\n-- grain: n\n-- column n: -; N\n"
    query = one(tmp_path, head + statement)
    with pytest.raises(UserError, match=message):
        run(given, query)


def test_python_variables_are_out_of_reach(given: Any, tmp_path: Path) -> None:
    head = "-- title: t\n-- question: q\n-- grain: n\n-- column n: -; N\n"
    query = one(tmp_path, head + "SELECT * FROM parameters ORDER BY 1")
    with pytest.raises(UserError, match="parameters"):
        run(given, query)


def test_other_columns_than_declared(given: Any, tmp_path: Path) -> None:
    query = one(tmp_path, GOOD.replace("column said", "column told"))
    with pytest.raises(UserError, match="columns n, said; expected those declared: n, told"):
        run(given, query)


def test_unknown_and_wrong_values_together(given: Any, tmp_path: Path) -> None:
    with pytest.raises(UserError) as caught:
        run(given, one(tmp_path, GOOD), above="much", abov="1")
    assert [fault.found for fault in caught.value.faults] == ["no such parameter", "'much'"]


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        ("number", "1e3", 1000.0), ("number", "1,5", 1.5), ("integer", "12", 12),
        ("flag", "yes", True),
        ("date", "2024-05-11", dt.date(2024, 5, 11)), ("text", "1", "1"),
    ],
)  # fmt: skip
def test_values_by_type(tmp_path: Path, kind: str, text: str, value: object) -> None:
    query = one(tmp_path, GOOD.replace("number = 1", f"{kind} = {text}"))
    assert query.bound({})["above"] == value


@pytest.mark.parametrize("text", ["nan", "inf", "", "1,000", "1 V"])
def test_numbers_are_finite(tmp_path: Path, text: str) -> None:
    with pytest.raises(UserError):
        one(tmp_path, GOOD).bound({"above": text})


@pytest.mark.parametrize(
    ("name", "text", "value"),
    [("load_ohm", "8 ohm", 8.0), ("power_w", "500 mW", 0.5), ("frequency_hz", "1 kHz", 1000.0),
     ("limit_percent", "0.1 %", 0.1), ("load_ohm", "4", 4.0)],
)  # fmt: skip
def test_a_parameter_takes_the_unit_of_its_name(name: str, text: str, value: float) -> None:
    assert parameter_value(name, "number", text) == value


def test_unknown_unit_is_reported_with_near_ones(given: Any) -> None:
    given.unit("m30-left")
    with pytest.raises(UserError, match="near: m30-left"):
        run(given, shipped()["idle-noise-of-technology"], unit="m30-lft")


def test_own_queries_stand_beside_those_shipped(tmp_path: Path) -> None:
    (tmp_path / "queries").mkdir()
    (tmp_path / "queries" / "mine.sql").write_text(GOOD, encoding="utf-8")
    assert available(tmp_path).keys() == {"mine", *shipped()}
    (tmp_path / "queries" / "missing-measurements.sql").write_text(GOOD, encoding="utf-8")
    assert available(tmp_path).keys() == {"mine", *shipped()}
    ((name, (fault,)),) = faulty(tmp_path).items()
    assert (name, "the name of queries shipped" in fault.found) == ("missing-measurements", True)


def test_a_faulty_query_of_ones_own_fails_alone(tmp_path: Path) -> None:
    (tmp_path / "queries").mkdir()
    (tmp_path / "queries" / "mine.sql").write_text(GOOD, encoding="utf-8")
    (tmp_path / "queries" / "broken.sql").write_text("SELECT 1", encoding="utf-8")
    (tmp_path / "queries" / "no-text.sql").write_bytes(bytes([255, 254, 0]))
    assert available(tmp_path).keys() == {"mine", *shipped()}
    assert faulty(tmp_path).keys() == {"broken", "no-text"}


def test_a_folder_that_is_not_there_holds_none(tmp_path: Path) -> None:
    assert load([tmp_path / "none"]) == {}


def test_conditions_are_said_with_the_values(tmp_path: Path) -> None:
    line = "-- conditions: above {above} V; word {word}; all outputs\n-- grain: n\n"
    query = one(tmp_path, GOOD.replace("-- grain: n\n", line))
    assert query.conditions_text() == "above 1 V; all outputs"
    message = query.conditions_text({"above": "2", "word": "p1"}, {"p1": "1 kHz, 5 W"})
    assert message == "above 2 V; word 1 kHz, 5 W; all outputs"


def test_conditions_name_declared_parameters_only(tmp_path: Path) -> None:
    line = "-- conditions: above {below} V\n-- grain: n\n"
    with pytest.raises(UserError, match=r"line 4: found the undeclared \$below"):
        one(tmp_path, GOOD.replace("-- grain: n\n", line))


@pytest.mark.parametrize(
    ("chart", "message"),
    [
        ("rankd; scale = log", "queries/values-above.sql, chart: found 'rankd'"),
        ("ranked; scale = log", "no column unit_key"),
        ("ranked; scale = logs", "option scale: found logs"),
        ("", ""),
    ],
)
def test_a_chart_that_a_query_of_ones_own_names_is_checked(
    chart: str, message: str, tmp_path: Path
) -> None:
    (tmp_path / "queries").mkdir()
    line = f"-- chart: {chart}\n" if chart else ""
    text = GOOD.replace("-- chart: ranked; scale = log\n", line)
    (tmp_path / "queries" / "values-above.sql").write_text(text, encoding="utf-8")
    wrong = own_queries.faulty(tmp_path)
    assert message in "; ".join(map(str, wrong.get("values-above", ())))
    assert ("values-above" in own_queries.available(tmp_path)) is (message == "")
    assert "idle-noise-of-technology" in own_queries.available(tmp_path)


def test_the_charts_of_the_queries_shipped_have_what_they_ask() -> None:
    assert [fault for query in shipped().values() for fault in chart_faults(query)] == []
