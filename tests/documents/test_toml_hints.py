"""What is said of a line of TOML that can't be read."""

from __future__ import annotations

import pytest

from backbench.documents.validation import parse_toml
from backbench.errors import UserError

SAID = {
    "power_w = 8,5": "a decimal point: power_w = 8.5",
    "at = { load_ohm = 8,0, power_w = 5 }": "a decimal point: at = { load_ohm = 8.0, power_w = 5 }",
    "at = { load_ohm = 8,5 }": "a decimal point: at = { load_ohm = 8.5 }",
    "date = 3/4/2024": "year-month-day: date = 2024-03-04 or date = 2024-04-03",
    "date = 31/3/2024": "year-month-day: date = 2024-03-31",
    "date = 31/4/2024": "a date as year-month-day, such as 2024-05-11",
    "date = 11.05.2024": "year-month-day: date = 2024-05-11",
    "date = 2024-5-1": "year-month-day: date = 2024-05-01",
    'maker = "Marrowgate': 'a closing quotation mark: maker = "Marrowgate"',
    "maker = Marrowgate": 'text in quotation marks: maker = "Marrowgate"',
    "maker = \u201cMarrowgate\u201d": 'straight quotation marks: maker = "Marrowgate"',
    "value = 8 W": 'text in quotation marks: value = "8 W"',
    "[[unit]": "as many ] as [: [[unit]]",
    "maker Marrowgate": "a key, an equals sign and a value",
    "at = { load_ohm = 8": "ends on the line on which it begins",
}


@pytest.mark.parametrize("line", SAID)
def test_the_line_is_quoted_with_what_was_meant(line: str) -> None:
    with pytest.raises(UserError) as raised:
        parse_toml(f"a = 1\n{line}\nb = 2\n".encode(), "review.toml")
    (fault,) = raised.value.faults
    assert fault.where == "review.toml, line 2"
    assert fault.found == line
    assert SAID[line] in fault.expected


def test_what_nothing_is_likely_of_has_the_reason() -> None:
    with pytest.raises(
        UserError, match=r"line 2: found a = 2; expected each key once \(cannot overwrite"
    ):
        parse_toml(b"a = 1\na = 2\n", "review.toml")


def test_an_error_without_a_line_is_reported_whole() -> None:
    with pytest.raises(UserError, match="found "):
        parse_toml(b"a = " + b"9" * 5000, "review.toml")
