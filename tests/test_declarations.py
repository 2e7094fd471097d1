"""Traits stand on declarations: no name of a metric, and no kind of unit, is listed elsewhere."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import get_args

import pytest

from backbench.bench_day.capture_battery import BATTERIES
from backbench.documents.kinds import Battery, shipped_kinds
from backbench.documents.stimuli import KINDS
from backbench.metrics.declaration import derived, metric
from backbench.metrics.registry import registry
from backbench.metrics.traits import Traits
from backbench.test_points.points import shipped_points
from source_trees import nodes

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "pipeline" / "backbench"
COMMON_WORDS = {
    ("charts", "level"): "a column of the charts' rows",
    ("charts", "impedance"): "a chart's name",
    ("charts", "response"): "a chart's name",
    ("charts", "spectrum"): "a chart's name",
    ("documents/table_stimulus.py", "response"): "a sort of table",
    ("documents/table_stimulus.py", "impedance"): "a sort of table",
    ("readers/table_columns.py", "response"): "a sort of table",
    ("readers/table_columns.py", "impedance"): "a sort of table",
    ("readers/table_columns.py", "level"): "a column of a table",
    ("documents/table_stimulus.py", "spectrum"): "a sort of table",
    ("readers/table_columns.py", "spectrum"): "a sort of table",
    ("readers/table_columns.py", "thd"): "a column of a table",
    ("readers/table_columns.py", "thd_n"): "a column of a table",
    ("readers/table_columns.py", "phase"): "a column of a table",
    ("readers/table_columns.py", "noise"): "a column of a table",
    ("readers/table_columns.py", "separation"): "a column of a table",
    ("readers/table_columns.py", "am_suppression"): "a column of a table",
    ("bench_day/table_entries.py", "response"): "a sort of table",
    ("bench_day/table_entries.py", "level"): "a column of a table",
    ("bench_day/table_entries.py", "spectrum"): "a sort of table",
    ("bench_day/table_headings.py", "response"): "a sort of table",
    ("bench_day/table_headings.py", "impedance"): "a sort of table",
    ("bench_day/table_headings.py", "level"): "a column of a table",
    ("bench_day/table_headings.py", "phase"): "a column of a table",
    ("bench_day/table_headings.py", "thd"): "a column of a table",
    ("bench_day/table_headings.py", "thd_n"): "a column of a table",
    ("test_points/points.py", "response"): "a test point's key",
    ("documents/kinds.py", "response"): "a test point's key",
    ("bench_day/gain_estimate.py", "gain"): "a word of a sentence",
    ("bench_day/plan_text.py", "level"): "a column of the plan",
    ("commands/bench_day.py", "level"): "a column of the plan",
    ("bench_day/probe_factor.py", "response"): "a sort of table",
    ("bench_day/probe_factor.py", "level"): "a column of a table",
    ("readers/complex_columns.py", "phase"): "a column of a table",
    ("readers/compound_cells.py", "phase"): "a part of a complex number",
    ("bench_day/new_review.py", "thd"): "an example in the manifest that a reviewer fills in",
}
"""Where a word that is also a metric's or a curve's name means something else."""


@cache
def texts(path: Path) -> tuple[tuple[int, str], ...]:
    """Line and content of every string literal but docstrings."""
    return tuple(literals(path))


def literals(path: Path) -> Iterator[tuple[int, str]]:
    tree = nodes(path)
    prose = {id(node.value) for node in tree if isinstance(node, ast.Expr)}
    for node in tree:
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in prose:
            yield node.lineno, node.value


def named(text: str, names: set[str]) -> set[str]:
    """Names that a text consists of or quotes; those that are no English word, anywhere in it."""
    result = {text, *re.findall(r"""["']([a-z0-9_]+)["']""", text)} & names
    words = set(re.findall(r"(?<![\w.-])[a-z0-9_]+(?![\w-])", text))
    return result | {name for name in words & names if not name.isalpha()}


def outside() -> list[Path]:
    result = sorted(
        p for p in PACKAGE.rglob("*.py") if p.relative_to(PACKAGE).parts[0] != "metrics"
    )
    assert len(result) > 100
    return result


def allowed(path: Path, name: str) -> bool:
    place = path.relative_to(PACKAGE)
    return any((key, name) in COMMON_WORDS for key in (place.parts[0], place.as_posix()))


def test_no_metric_is_named_outside_its_package() -> None:
    names = {*registry().metrics, *registry().curves}
    result = [
        f"{path.relative_to(PACKAGE)}:{line}: {name}"
        for path in outside()
        for line, text in texts(path)
        for name in sorted(named(text, names))
        if not allowed(path, name)
    ]
    assert result == []


def test_every_allowed_word_is_still_in_use() -> None:
    for place, name in COMMON_WORDS:
        path = PACKAGE / place
        files = sorted(path.rglob("*.py")) if path.is_dir() else [path]
        assert any(name in named(t, {name}) for f in files for _, t in texts(f)), (place, name)


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("gain", {"gain"}),
        ("the gain of it", set()),
        ("WHERE metric = 'gain'", {"gain"}),
        ("WHERE metric IN (thd_n, x)", {"thd_n"}),
        ("a-thd_n", set()),
    ],
)
def test_names_in_texts(text: str, names: set[str]) -> None:
    assert named(text, {"gain", "thd_n"}) == names


def test_compared_metrics_name_test_points_that_hold_them() -> None:
    points = {point.point_key: point for point in shipped_points()}
    for name, keys in registry().compared().items():
        for key in {*keys, *registry().traits(name).watched_at}:
            assert points[key].metrics is None or name in points[key].metrics, (name, key)


def test_a_metric_with_points_of_its_own_is_on_them() -> None:
    for name in registry().having(lambda traits: traits.point_family):
        family = registry().traits(name).point_family
        assert family is not None
        own = [point for point in shipped_points() if point.title.startswith(family)]
        assert own
        assert all(name in (point.metrics or ()) for point in own)


def test_the_overview_names_a_point_that_the_metric_is_compared_at() -> None:
    for name in registry().having(lambda traits: traits.overview):
        overview = registry().traits(name).overview
        assert overview is not None
        assert overview.point in registry().compared()[name]


def test_captions_name_saved_queries() -> None:
    queries = {path.stem for path in (ROOT / "queries").glob("*.sql")}
    for name in registry().having(lambda traits: traits.captions):
        assert set(registry().traits(name).captions) <= queries


def test_a_compared_metric_needs_a_position() -> None:
    with pytest.raises(ValueError, match="position"):
        Traits(compared_at=("idle",))
    with pytest.raises(ValueError, match="position"):
        Traits(position=3)


def test_a_metric_of_no_known_name_is_treated_as_any() -> None:
    assert registry().traits("gone since then") == Traits()


def test_the_usual_stimulus_is_a_tone_or_the_first() -> None:
    def of(stimuli: list[str]) -> str:
        declare = metric("m", title="", unit="", better="lower", source="", stimuli=stimuli,
                         version=1)  # fmt: skip
        return declare(lambda seen: ()).usual_stimulus

    assert of(["sweep", "tone"]) == "tone"
    assert of(["square", "burst"]) == "square"
    across = derived("m", title="", unit="", better="lower", source="", version=1,
                     traits=Traits(usual_stimulus="sweep"))  # fmt: skip
    assert across(lambda session: ()).usual_stimulus == "sweep"


def test_every_kind_of_unit_but_other_has_a_plan_that_is_written() -> None:
    plans = {kind.battery for kind in shipped_kinds().values() if kind.name != "other"}
    assert plans == set(get_args(Battery)) == set(BATTERIES)


def test_the_first_test_points_of_a_kind_are_there() -> None:
    known = [point.point_key for point in shipped_points()]
    for kind in shipped_kinds().values():
        for first in kind.first_points:
            assert any(key.startswith(first) for key in known), (kind.name, first)


def test_the_queries_name_kinds_by_their_declaration() -> None:
    """But for the group that a question is about."""
    names = set(shipped_kinds()) - {"other"}
    for path in (ROOT / "queries").glob("*.sql"):
        assert not names & set(re.findall("'([^']+)'", path.read_text())), path.name


def test_no_kind_of_unit_is_named_outside_its_declaration() -> None:
    names = set(shipped_kinds()) - {"other", *get_args(Battery)}
    result = [
        f"{path.relative_to(PACKAGE)}:{line}: {text}"
        for path in outside()
        if path.name != "kinds.py"
        for line, text in texts(path)
        if text in names
    ]
    assert result == []


def test_a_stimulus_declares_all_that_is_needed_of_it() -> None:
    assert len({kind.kind for kind in KINDS}) == len({kind.marker for kind in KINDS}) == len(KINDS)
    for kind in KINDS:
        assert 0 < kind.bytes_a_sample <= 86
        assert kind.marker in kind.model_fields
