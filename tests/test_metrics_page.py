"""METRICS.md and the table of method versions say what the declarations say."""

from __future__ import annotations

from collections import Counter
from dataclasses import fields

import pytest

from backbench.metrics.declared_metric import Declared
from backbench.metrics.declared_traits import TABLE as TRAITS
from backbench.metrics.declared_traits import declarations, trait_table
from backbench.metrics.method_versions import TABLE, methods
from backbench.metrics.reference_page import PAGE, by_family, page, shared_clauses, version_table
from backbench.metrics.registry import registry
from backbench.metrics.source_marks import CUSTOM, MARKS, MEMORY, PUBLISHED, mark_of


def test_page_is_up_to_date() -> None:
    assert PAGE.read_text(encoding="utf-8") == page()


def test_the_table_of_method_versions_is_up_to_date() -> None:
    assert TABLE.read_text(encoding="utf-8") == version_table()
    known = registry().metrics
    assert {name: (m.title, m.version) for name, m in methods().items()} == {
        name: (m.title, m.version) for name, m in known.items()
    }


def test_the_table_of_traits_is_up_to_date_and_read_as_it_was_declared() -> None:
    known = registry().metrics
    assert TRAITS.read_text(encoding="utf-8") == trait_table(known)
    names = [field.name for field in fields(Declared)]
    for name, read in declarations().metrics.items():
        assert [getattr(read, n) for n in names] == [getattr(known[name], n) for n in names], name
    assert [*declarations().metrics] == [*known]


def test_every_metric_stands_in_a_named_family() -> None:
    families = by_family()
    assert "Other metrics" not in families
    assert {m.name for own in families.values() for m in own} == set(registry().metrics)


def test_every_metric_is_declared_whole() -> None:
    for metric in registry().metrics.values():
        assert metric.definition, metric.name
        assert metric.source, metric.name
        assert metric.version >= 1
        assert (metric.measure is None) != (metric.derive is None)


def test_every_source_is_marked_and_the_weaker_of_two_counts() -> None:
    marks = Counter(mark_of(metric.source) for metric in registry().metrics.values())
    assert set(marks) == set(MARKS)
    for mark, number in marks.items():
        assert f"{number} (" in page()
        assert mark in page()
    assert mark_of("AES17, 6.3.1 (second-hand)") == PUBLISHED
    assert mark_of("AES17 (second-hand); IHF-A-202:1978 (from memory)") == MEMORY
    assert mark_of("IEC 60268-3 (from memory); common practice, no source") == CUSTOM
    with pytest.raises(ValueError, match="names no standard"):
        mark_of("somebody's page")


def test_a_clause_that_a_family_shares_stands_once() -> None:
    text = page()
    assert any(shared_clauses(metrics) for metrics in by_family().values())
    for family, metrics in by_family().items():
        section = text.partition(f"\n## {family}\n")[2].partition("\n## ")[0]
        for clause, letter in shared_clauses(metrics).items():
            assert section.count(clause) == 1
            assert section.count(letter) >= 4
