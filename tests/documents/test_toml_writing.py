"""TOML that is added to reads back as meant, and what stood there stays line for line."""

from __future__ import annotations

import datetime as dt
import math
import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.documents.toml_writing import block, lines_of, table_of, with_key, with_tables
from backbench.errors import UserError

ADDED = {"since": dt.date(2024, 5, 11), "volts": {"1": 2.5, "2": 8.0}, "range": None}
READ_BACK = {"since": dt.date(2024, 5, 11), "volts": {"1": 2.5, "2": 8}}

LISTS = {
    "a list there": """\
# of the workshop
[bench.a]  # the large one
rate = 1

[[bench.a.calibration]]
since = 2020-01-01   # the first

# the small one
[bench.b]
rate = 2
# end""",
    "no list yet, another table after": "[bench.a]\nrate = 1\n[speaker]\nx = 1\n[bench.b]\ny = 2\n",
    "a list in brackets": "[bench.a]\ncalibration = [\n  { x = 1 },  # one\n]\n[other]\n",
    "a bench in braces": "[bench]\na = { rate = 1 } # short\n",
    "lines that end as elsewhere": "[bench.a]\r\nrate = 1\r\n\r\n[bench.b]\r\nrate = 2\r\n",
    "a table below the bench": "[bench.a]\nrate = 1\n[bench.a.sub]\nx = 1\n[bench.b]\ny = 1",
    "a dotted key": "bench.a.rate = 1\n",
}


def comments(text: str) -> list[str]:
    return ["#" + line.partition("#")[2] for line in text.splitlines() if "#" in line]


@pytest.mark.parametrize("text", LISTS.values(), ids=LISTS)
def test_a_table_is_added_to_its_list(text: str) -> None:
    written = with_tables(text, ["bench", "a", "calibration"], [ADDED, ADDED], "backbench.toml")
    expected: dict[str, Any] = tomllib.loads(text)
    expected["bench"]["a"].setdefault("calibration", []).extend([READ_BACK, READ_BACK])
    assert tomllib.loads(written) == expected
    assert comments(written) == comments(text)
    assert "]]\n\n\n" not in written
    assert "1[[" not in written


def test_a_layout_that_takes_no_table_is_refused_in_words() -> None:
    dotted = "[bench]\na.rate = 1\nb = { rate = 2 }\n"
    with pytest.raises(UserError, match="add the entry by hand"):
        with_tables(dotted, ["bench", "a", "calibration"], [ADDED], "backbench.toml")


TABLES = {
    "nothing": "",
    "a table with a comment": '[aliases]  # of units\na = "b"\n\n# the bench\n[bench]\nx = 1\n',
    "no such table": "# settings\n[bench]\nx = 1\n\n\n",
    "an empty one at the end": "[bench]\nx = 1\n\n[aliases]",
    "in braces": 'aliases = { a = "b" }\n',
    "dotted": 'aliases.a = "b"\nx = 1\n',
}


@pytest.mark.parametrize("text", TABLES.values(), ids=TABLES)
def test_a_key_is_added_to_its_table(text: str) -> None:
    written = with_key(text, "aliases", "new.key", "heron", remark="Former keys.", name="x.toml")
    expected = tomllib.loads(text)
    expected.setdefault("aliases", {})["new.key"] = "heron"
    assert tomllib.loads(written) == expected
    assert set(comments(text)) <= set(comments(written))
    assert ("# Former keys.\n[aliases]" in written) == ("aliases" not in text)


def test_a_comment_above_the_next_table_stays_above_it() -> None:
    written = with_key(TABLES["a table with a comment"], "aliases", "c", "d", remark="", name="x")
    assert written.index('c = "d"') < written.index("# the bench") < written.index("[bench]")


def test_a_block_stands_under_its_header() -> None:
    assert block(["bench", "my bench", "calibration"], table_of(ADDED), repeated=True) == (
        '[[bench."my bench".calibration]]\nsince = 2024-05-11\nvolts = {1 = 2.5, 2 = 8}'
    )
    assert block(["review"], table_of({"key": "heron", "work": []})) == '[review]\nkey = "heron"'


VALUES = st.recursive(
    st.booleans() | st.integers(-(2**60), 2**60) | st.dates() | st.text()
    | st.floats(allow_nan=False, allow_infinity=False),
    lambda inner: st.lists(inner, min_size=1, max_size=3)
    | st.dictionaries(st.text(), inner, min_size=1, max_size=3),
    max_leaves=8,
)  # fmt: skip


@settings(deadline=None, max_examples=150)
@given(st.dictionaries(st.text(), VALUES, max_size=4))
def test_what_is_written_reads_back_equal(entries: dict[str, Any]) -> None:
    back = tomllib.loads(lines_of(entries))
    assert back == entries
    for key, value in entries.items():
        if isinstance(value, float):
            assert math.isclose(back[key], value, rel_tol=0, abs_tol=0)
