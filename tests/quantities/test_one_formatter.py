"""One table of prefixes, and one reading shown with the same digits wherever it is shown."""

from __future__ import annotations

import ast
import io
import re
from pathlib import Path

import polars as pl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from backbench.charts.mark_layers import value_label, value_text
from backbench.comparison.standings import Standing
from backbench.publish.render import environment
from backbench.publish.stills import _figure_line
from backbench.quantities.writing import COVERAGE, NO_BREAK, axis_labels, measured, ordinary
from backbench.reports.export_formats import export
from backbench.reports.terminal_tables import quantity as in_terminal
from source_trees import nodes, nodes_of

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
    result = [
        f"{path.relative_to(PACKAGE)}:{node.lineno}"  # type: ignore[attr-defined]
        for path in PACKAGE.rglob("*.py") if path.parent.name != "quantities"
        for node in nodes(path) if is_table_of_prefixes(node)
    ]  # fmt: skip
    assert result == []


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


def _still_caption(value: float, u: float, unit: str, bound: str | None = None) -> str:
    standing = Standing(
        unit_key="u", metric="noise", title="Noise", unit=unit, better="lower", point_key="idle",
        point="idle", output="left", limit_percent=None, value=value, uncertainty=u, bound=bound,
        status="measured", n=1, rank=None, percentile=None, around=(), left_out={},
    )  # fmt: skip
    line = re.fullmatch(r"Noise: (.+) \(idle, left\)", _figure_line(standing))
    assert line is not None
    return line[1]


@given(st.floats(1e-8, 1e6), st.floats(1e-5, 2.0), UNITS)
@settings(max_examples=50)
def test_a_caption_has_the_digits_of_the_page(value: float, share: float, unit: str) -> None:
    assert _still_caption(value, share * value, unit) == measured(value, share * value, unit)


@given(st.floats(1e-8, 1e6), UNITS)
@settings(max_examples=50)
def test_an_exported_value_is_written_as_the_reading_itself(value: float, unit: str) -> None:
    frame = pl.DataFrame({"value": [value]})
    exported = io.StringIO()
    export(frame, "csv", stream=exported)
    read_back = float(exported.getvalue().splitlines()[1])
    assert measured(read_back, 0.01 * abs(value), unit) == measured(value, 0.01 * abs(value), unit)


@pytest.mark.parametrize(
    ("values", "unit", "log", "labels"),
    [
        ((0.0, 0.5, 1.0), "dB", False, ["0.0 dB", "0.5 dB", "1.0 dB"]),
        ((0.0, 2e-4, 1e-3), "V", False, ["0.0 mV", "0.2 mV", "1.0 mV"]),
        ((-10.0, 0.0), "", False, ["−10", "0"]),
        ((20.0, 500.0, 2e3, 2e4), "Hz", True, ["20 Hz", "500 Hz", "2 kHz", "20 kHz"]),
        ((0.03, 0.1, 3.0), "%", True, ["0.03 %", "0.1 %", "3 %"]),
    ],
)
def test_ticks_of_a_linear_axis_have_equal_decimals(
    values: tuple[float, ...], unit: str, log: bool, labels: list[str]
) -> None:
    written = axis_labels(values, unit, log=log)
    assert [label.replace(NO_BREAK, " ") for label in written] == labels


OWN_FORMATS = re.compile(r"[-+ ]?,?\.?[0-9]*[efg]$")
IN_TEMPLATES = re.compile(r"%[-+]?\.?[0-9]*[efg]\b")
NOT_SHOWN = {
    "quantities/writing.py": "the formatter itself",
    "quantities/numerals.py": "both readings of a text, every digit, to be typed again",
    "publish/peer_strips.py": "coordinates of an SVG path",
    "charts/timeline.py": "years",
    "charts/axis.py": "the first digit of a tick",
    "charts/svg_elements.py": "lengths in an SVG",
    "charts/svg_drawing.py": "coordinates and sizes of SVG texts",
    "backfill/spreadsheet.py": "a cell as the spreadsheet holds it, to be read again",
    "backfill/map_text.py": "a key of a column map, to be typed",
    "bench_day/review_request.py": "an option of a command, to be typed again",
    "bench_day/capture_names.py": "parts of file names",
    "test_points/points.py": "keys and titles that the database keeps",
    "demo.py": "size and time of a run",
    "comparison/regression.py": "a number held against what the user typed",
}  # fmt: skip
"""Modules that format numbers which no reader sees as a measured value, and which these are."""


def own_formats(tree: tuple[ast.AST, ...]) -> list[int]:
    """Lines of f-strings that round a number for a text; float(f"...") rounds a number itself."""
    rounded = {
        id(call.args[0])
        for call in tree
        if isinstance(call, ast.Call) and ast.unparse(call.func) == "float" and call.args
    }
    return [
        part.lineno
        for text in tree
        if isinstance(text, ast.JoinedStr) and id(text) not in rounded
        for part in text.values
        if isinstance(part, ast.FormattedValue) and part.format_spec is not None
        if OWN_FORMATS.fullmatch(ast.unparse(part.format_spec)[2:-1])
    ]


@pytest.mark.parametrize(
    ("code", "lines"),
    [('f"{x:.3g} V"', [1]), ('f"{x:g}"', [1]), ('f"{x:+.1f} dB"', [1]), ('f"{x:,.0f}"', [1]),
     ('float(f"{x:.3g}")', []), ('f"{name:>9}"', []), ('f"{n:04d}"', [])],
)  # fmt: skip
def test_a_format_of_its_own_is_seen(code: str, lines: list[int]) -> None:
    assert own_formats(nodes_of(code)) == lines


def test_no_module_has_a_format_of_its_own() -> None:
    faults = [
        f"{name}:{line}"
        for path in sorted(PACKAGE.rglob("*.py"))
        if (name := path.relative_to(PACKAGE).as_posix()) not in NOT_SHOWN
        for line in own_formats(nodes(path))
    ]
    assert faults == []


def test_every_exception_is_still_needed() -> None:
    assert [name for name in NOT_SHOWN if not own_formats(nodes(PACKAGE / name))] == []


def test_no_template_has_a_format_of_its_own() -> None:
    templates = sorted(PACKAGE.rglob("*.html"))
    assert templates
    assert [path.name for path in templates if IN_TEMPLATES.search(path.read_text())] == []
