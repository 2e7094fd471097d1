"""Answers of one statement for many values of its parameters, worked out in one go.

Planning a statement takes longer than most of its answers: asked for a hundred units at once, it
takes little longer than for one. Who asks later for one of them asks as ever.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TypeVar

from backbench.storage.database import Database, StatementError

if TYPE_CHECKING:
    import polars as pl

Values = Mapping[str, object]
Given = Sequence[object] | Values
PLACE = "_place"
Answer = TypeVar("Answer")


class AnswersAhead(Database):
    """An open connection that reads, with the answers that were worked out ahead.

    They stand for what the connection would answer now: `run`, which may change that, forgets them.
    """

    def __init__(self, store: Database) -> None:
        vars(self).update(vars(store))
        self._ahead: dict[tuple[str, str, str], Any] = {}

    def run(self, sql: str, parameters: Given = ()) -> None:
        """As of any connection."""
        self.forget()
        super().run(sql, parameters)

    def forget(self) -> None:
        """Let go of every answer."""
        self._ahead.clear()

    def rows(self, sql: str, parameters: Given = ()) -> list[tuple[Any, ...]]:
        """As of any connection."""
        known = self._ahead.get(("rows", sql, _key(parameters)))
        return super().rows(sql, parameters) if known is None else list(known)

    def frame(self, sql: str, parameters: Given = ()) -> pl.DataFrame:
        """As of any connection."""
        known: pl.DataFrame | None = self._ahead.get(("frame", sql, _key(parameters)))
        return super().frame(sql, parameters) if known is None else known

    def records(self, sql: str, parameters: Given = ()) -> list[dict[str, Any]]:
        """As of any connection; a frame that was worked out serves too."""
        known: pl.DataFrame | None = self._ahead.get(("frame", sql, _key(parameters)))
        if known is None:
            return super().records(sql, parameters)
        return list(known.iter_rows(named=True))

    @contextmanager
    def set_aside(self) -> Iterator[None]:
        """Within it, every statement is run: for as long as names mean something else."""
        ahead, self._ahead = self._ahead, {}
        try:
            yield
        finally:
            self._ahead = ahead

    def keep_rows(self, sql: str) -> None:
        """Work a statement without parameters out once."""
        self._ahead["rows", sql, _key(())] = super().rows(sql)

    def foresee_rows(self, sql: str, each: Sequence[Values]) -> None:
        """The rows of a statement for each of several values of all its parameters."""
        whole, most_rows = self._of_all(super().rows, sql, each, _values(each))
        found: dict[int, list[tuple[Any, ...]]] = {}
        for place, *row in whole or ():
            found.setdefault(place, []).append(tuple(row))
        for place, values in enumerate(each):
            answer = found.get(place, [])
            if whole is not None and len(answer) <= most_rows:
                self._ahead["rows", sql, _key(values)] = answer

    def foresee_frames(
        self, sql: str, each: Sequence[Values], common: Values | None = None
    ) -> None:
        """The same as frames. common: parameters whose values are the same for all."""
        given = {**_values(each), **(common or {})}
        whole, most_rows = self._of_all(super().frame, sql, each, given)
        if whole is None:
            return
        parts = whole.partition_by(PLACE, as_dict=True, include_key=False)
        none = whole.drop(PLACE).clear()
        for place, values in enumerate(each):
            answer = parts.get((place,), none)
            if answer.height <= most_rows:
                self._ahead["frame", sql, _key({**values, **(common or {})})] = answer

    def _of_all(
        self, fetch: Callable[[str, Values], Answer], sql: str, each: Sequence[Values],
        given: Values,
    ) -> tuple[Answer | None, float]:  # fmt: skip
        """The answers of all in one, and the most rows that one of them may have to be used; None
        where each is to be asked by itself."""
        try:
            return fetch(_of_each(sql, each, _order(sql)), given), math.inf
        except StatementError:
            # Ordered by what is no column of the answer: then no more than one row has its order.
            try:
                return fetch(_of_each(sql, each, ""), given), 1
            except StatementError:
                return None, 0


@contextmanager
def without_answers_ahead(store: Database) -> Iterator[None]:
    """Within it, a connection answers nothing from before."""
    if isinstance(store, AnswersAhead):
        with store.set_aside():
            yield
    else:
        yield


def _key(parameters: Given) -> str:
    return repr(sorted(parameters.items()) if isinstance(parameters, Mapping) else [*parameters])


def _values(each: Sequence[Values]) -> dict[str, object]:
    return {f"_{name}": [values[name] for values in each] for name in each[0]}


def _of_each(sql: str, each: Sequence[Values], order: str) -> str:
    """The statement of all answers, each with its place, in the order that each has by itself."""
    names = [*each[0]]
    asked = re.sub(rf"\$({'|'.join(names)})\b", r"_asked.\1", sql)
    lists = ", ".join(f"unnest($_{name}) AS {name}" for name in names)
    by = order if order == "ALL" else ", ".join(filter(None, (PLACE, order)))
    return (
        f"SELECT _asked.{PLACE}, _answer.* "
        f"FROM (SELECT unnest(range({len(each)})) AS {PLACE}, {lists}) AS _asked, "
        f"LATERAL ({asked}\n) AS _answer ORDER BY {by}"
    )


LAST_ORDER = re.compile(r"(?s).*\bORDER BY\b(?P<by>(?:(?!\bLIMIT\b)[^()]|\([^()]*\))*)\Z")


def _order(sql: str) -> str:
    """What the statement's answer is ordered by; "" where it isn't."""
    found = LAST_ORDER.match(sql)
    return found["by"].strip() if found else ""
