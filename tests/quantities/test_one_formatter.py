"""One table of prefixes, and one reading shown with the same digits wherever it is shown."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from backbench.charts.mark_layers import value_label, value_text
from backbench.publish.render import environment
from backbench.quantities.writing import COVERAGE, ordinary
from backbench.reports.terminal_tables import quantity as in_terminal

PACKAGE = Path(__file__).parents[2] / "pipeline" / "backbench"
PREFIXES = {"p", "n", "u", "µ", "μ", "m", "k", "K", "M", "G"}


def is_table_of_prefixes(node: ast.AST) -> bool:
    """A mapping between prefixes and numbers, or of units that differ by a prefix to numbers."""
    if not isinstance(node, ast.Dict):
        return False
    keys = {key.value for key in node.keys if isinstance(key, ast.Constant)}
    values = {value.value for value in node.values if isinstance(value, ast.Constant)}
    numbers = all(isinstance(value, (int, float)) for value in values) and values
    powers = [key for key in node.keys if not isinstance(key, ast.Constant | ast.Name)]
    if (len(keys & PREFIXES) > 1 and numbers) or (len(values & PREFIXES) > 1 and powers):
        return True
    names = {key for key in keys if isinstance(key, str) and len(key) > 1}
    return bool(numbers) and any(name[0] in PREFIXES and name[1:] in keys for name in names)


def test_no_other_module_keeps_a_table_of_prefixes() -> None:
    found = [
        f"{path.relative_to(PACKAGE)}:{node.lineno}"  # type: ignore[attr-defined]
        for path in PACKAGE.rglob("*.py") if path.parent.name != "quantities"
        for node in ast.walk(ast.parse(path.read_text())) if is_table_of_prefixes(node)
    ]  # fmt: skip
    assert found == []


@pytest.mark.parametrize(
    ("code", "is_one"),
    [('{"k": 1e3, "M": 1e6}', True), ('{-3: "m", 3: "k"}', True), ('{"V": 1, "mV": 1e-3}', True),
     ('{"V": 1, "W": 2}', False), ('{"m": 1}', False),
     ('{"s": "s", "ms": "ms"}', False)],
)  # fmt: skip
def test_a_table_of_prefixes_is_seen(code: str, is_one: bool) -> None:
    assert is_table_of_prefixes(ast.parse(code, mode="eval").body) == is_one


UNITS = st.sampled_from(["V", "W", "ohm", "Hz", "s", "%", "dB", "1", "V/√Hz", "V/s"])


@given(st.floats(1e-8, 1e6), st.floats(1e-5, 2.0), UNITS)
@example(14.5752, 0.1375 / 14.5752, "W")
@example(21.7, 0.1425 / 21.7, "W")
def test_a_reading_has_the_same_digits_everywhere(value: float, share: float, unit: str) -> None:
    u = share * value
    page = environment().from_string("{{ measured(v, u, unit) }}").render(v=value, u=u, unit=unit)
    row = {"value": value, "low": value - COVERAGE * u, "high": value + COVERAGE * u}
    chart = value_text(row, "value", "low", "high", unit)
    assert ordinary(page) == in_terminal(value, unit, u)
    assert chart == page
    assert value_label(row, unit).strip() == re.split(" ± ", page)[0]


def test_a_bound_is_shown_alike() -> None:
    row = {"value": 10.4284, "bound": "upper"}
    assert ordinary(value_text(row, "value", "low", "high", "Hz")) == "≤ 10.5 Hz"
    assert in_terminal(10.4284, "Hz", None, "upper") == "≤ 10.5 Hz"
