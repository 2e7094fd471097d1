"""The line of a TOML file that a fault names."""

from __future__ import annotations

import pytest

from backbench.documents.manifest import read_manifest
from backbench.documents.toml_lines import line_of
from backbench.errors import UserError

TEXT = """\
title = "x"

[review]
key = "one"
mains_hz = 50

[[unit]]
key = "a"

[[unit.published]]
metric = "thd"

[[unit.published]]
metric = "noise"
at = { load_ohm = 8 }

[[unit]]
key = "b"

[[unit.published]]
metric = "gain"

[[capture]]
file = "one.wav"

[[capture]]
file = "two.wav"
stimulus = { tone_hz = 1000 }

[capture.conditions]
load_ohm = "few"
"""


@pytest.mark.parametrize(
    ("location", "line"),
    [
        (("title",), "title ="),
        (("review", "mains_hz"), "mains_hz"),
        (("review", "date"), "[review]"),
        (("unit", 0, "published", 1, "metric"), 'metric = "noise"'),
        (("unit", 0, "published", 1, "at", "load_ohm"), "at ="),
        (("unit", 1, "published", 0, "metric"), 'metric = "gain"'),
        (("capture", 1, "stimulus", "tone", "tone_hz"), "stimulus"),
        (("capture", 1, "conditions", "load_ohm"), 'load_ohm = "few"'),
        (("capture", 0), "[[capture]]"),
    ],
)
def test_the_line_of_a_value(location: tuple[str | int, ...], line: str) -> None:
    number = line_of(TEXT, location)
    assert number is not None
    assert TEXT.splitlines()[number - 1].startswith(line)


def test_what_is_not_there_has_no_line() -> None:
    assert line_of(TEXT, ("bench", "garage")) is None
    assert line_of(TEXT, ("capture", 7, "file")) is None


def test_a_fault_of_a_file_names_its_line() -> None:
    with pytest.raises(UserError) as raised:
        read_manifest(TEXT.encode())
    places = [fault.where for fault in raised.value.faults]
    number = TEXT.splitlines().index('load_ohm = "few"') + 1
    assert any(place.startswith(f"review.toml, line {number}, capture 2") for place in places)
