"""Headers of any text: faults are told, never a crash; what is right is read back."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.querying.saved_queries import parse

lines = st.lists(
    st.one_of(
        st.text(st.characters(codec="utf-8"), max_size=30),
        st.sampled_from(["-- title: t", "-- grain: n", "--   more", "SELECT 1 AS n ORDER BY n",
                         "$$", "-- parameter a: number = 1; x", "-- column n: V; N",
                         "'", "/*", "$a"]),
    ),
    max_size=8,
)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(lines)
def test_any_text_gives_a_query_or_faults(parts: list[str]) -> None:
    query, faults = parse("\n".join(parts), "any", "any.sql")
    assert faults or (query.title and query.question and query.grain and query.columns)
    assert all(fault.where.startswith("any.sql") for fault in faults)


words = st.text(st.characters(codec="ascii", categories=["L", "N"]), min_size=1, max_size=12)


@settings(max_examples=60, deadline=None)
@given(words, words, st.just(0.0) | st.floats(1e-15, 1e6) | st.floats(-1e6, -1e-15))
def test_what_is_written_is_read_back(title: str, unit: str, default: float) -> None:
    """Numbers of a size that a measurement may have; smaller ones are refused as in readings."""
    text = (
        f"-- title: {title}\n-- question: {title}?\n-- grain: n\n"
        f"-- parameter a: number = {default!r}; limit\n-- column n: {unit}; {title}\n"
        "SELECT $a AS n ORDER BY n\n"
    )
    query, faults = parse(text, "any", "any.sql")
    assert faults == []
    assert (query.title, query.columns[0].unit, query.bound({})["a"]) == (title, unit, default)
