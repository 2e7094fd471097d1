"""How captures ended, with the reason in one line: one type, read from one place.

The words are made by the macros of schema/0015_of_some_reviews.sql, of which the views
capture_outcome and across_captures are made, so that every command, page and query says the same.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

from backbench.quantities.counts import counted
from backbench.readers.unused_parts import BEGINNING
from backbench.storage.database import Database
from backbench.test_points.scope import chosen_reviews

State = Literal["whole", "partly refused", "refused", "failed"]
STATES: tuple[State, ...] = ("whole", "partly refused", "refused", "failed")


@dataclass(frozen=True)
class CaptureOutcome:
    """How one capture ended.

    stimulus: None where the manifest's entry can't be read.
    reason: why not whole, in one line; None where it is. warnings: what its readings warn of.
    """

    position: int
    file: str
    stimulus: str | None
    state: State
    reason: str | None
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Across:
    """What was refused, or is warned of, of readings that were made from several captures.

    warns: the captures contradict each other; else there was not enough to work it out from, or
    something is missing beside them. files: of the captures.
    """

    what: str
    reason: str
    refused: bool
    warns: bool
    files: tuple[str, ...] = ()

    def __str__(self) -> str:
        if not self.warns:
            return f"{self.what}: {self.reason}"
        return f"{_files(self.files)}: contradict each other: {self.what}: {self.reason}"


MOST_FILES = 4
"""Captures that a line names one by one."""


def _files(names: Sequence[str]) -> str:
    """Captures by their files, or counted where they are many."""
    return ", ".join(names) if len(names) <= MOST_FILES else counted(len(names), "capture")


@dataclass(frozen=True)
class ReviewOutcome:
    """How a review's captures ended, and what was worked out across them.

    entries: a line for each other entry of the manifest that was refused: a published or an
    entered figure, a photograph.
    dates: a line for each doubt about the review's date.
    unused: a line for each set of tracks and columns that no capture uses, with its files; of a
    trial alone.
    """

    captures: tuple[CaptureOutcome, ...] = ()
    across: tuple[Across, ...] = ()
    entries: tuple[str, ...] = ()
    dates: tuple[str, ...] = ()
    unused: tuple[str, ...] = ()

    @property
    def whole(self) -> bool:
        """Whether every capture is whole, none contradicts another, and no entry was refused."""
        return not self.faults()

    @property
    def faulty(self) -> list[CaptureOutcome]:
        """Captures that are not whole, in the order of the manifest."""
        return [capture for capture in self.captures if capture.state != "whole"]

    def in_state(self, state: State) -> list[CaptureOutcome]:
        """Captures that ended so, in the order of the manifest."""
        return [capture for capture in self.captures if capture.state == state]

    def counts(self) -> str:
        """In words: "23 captures: 20 whole, 2 partly refused, 1 failed"."""
        number = Counter(capture.state for capture in self.captures)
        parts = [f"{number[state]} {state}" for state in STATES if number[state]]
        total = counted(len(self.captures), "capture")
        return f"{total}: {', '.join(parts)}" if parts else total

    def faults(self, without: Collection[str] = ()) -> list[str]:
        """A line for each capture that isn't whole, then for those that contradict each other,
        then for refused figures and photographs.

        without: files whose captures are left out.
        """
        own = (one for one in self.faulty if one.file not in without)
        lines = [f"{one.file}: {one.state}: {one.reason}" for one in own]
        return [*lines, *(str(item) for item in self.across if item.warns), *self.entries]

    def not_worked_out(self) -> list[str]:
        """A line for each figure across captures for which they didn't suffice."""
        return [str(item) for item in self.across if item.refused and not item.warns]

    def warnings(self) -> list[str]:
        """A line for each warning: of the date, of captures, each text once with its files, and
        of what was worked out across them."""
        files: dict[str, list[str]] = {}
        for capture in self.captures:
            for text in capture.warnings:
                files.setdefault(text, []).append(capture.file)
        lines = [f"{', '.join(names)}: {text}" for text, names in files.items()]
        lines += [str(one) for one in self.across if not one.refused and not one.warns]
        return [*self.dates, *lines]


CAPTURES = """
SELECT review_key, position, file, stimulus, outcome, nullif(reason, '') AS reason, warnings
FROM {captures} ORDER BY review_key, position
"""
ACROSS = """
SELECT review_key, what, reason, refused, warns, files FROM {across}
ORDER BY review_key, warns DESC, what, reason
"""
ENTRIES = """
SELECT review_key, name, reason FROM refused_entry WHERE {chosen} AND kind <> 'capture'
ORDER BY review_key, kind, position, name
"""


def outcome_statements(review_keys: Sequence[str], *, of_views: bool) -> list[str]:
    """The statements that `review_outcomes` asks of these reviews, their keys as $reviews.

    They are others of one review than of several: of all single ones they are the same.
    """
    chosen, _ = chosen_reviews(review_keys)
    asked = {
        "captures": f"capture_outcome WHERE {chosen}" if of_views
        else "capture_outcome_of($reviews)",
        "across": f"across_captures WHERE {chosen}" if of_views
        else "across_captures_of($reviews)",
    }  # fmt: skip
    return [sql.format(**asked, chosen=chosen) for sql in (CAPTURES, ACROSS, ENTRIES)]


def review_outcomes(
    store: Database, review_keys: Sequence[str], *, of_views: bool = False
) -> dict[str, ReviewOutcome]:
    """How the captures of these reviews ended, by review.

    of_views: the connection keeps what the views say of every review, or answers ahead of it.
    """
    if not review_keys:
        return {}
    values = {"reviews": [*review_keys]}
    of_captures, of_several, of_entries = outcome_statements(review_keys, of_views=of_views)
    captures: dict[str, list[CaptureOutcome]] = {key: [] for key in review_keys}
    across: dict[str, list[Across]] = {key: [] for key in review_keys}
    for row in store.rows(of_captures, values):
        key, position, file, stimulus, state, reason, warnings = row
        own = reason.removeprefix(f"{file}: ") if reason else None
        one = CaptureOutcome(position, file, stimulus, state, own, tuple(warnings))
        captures[key].append(one)
    for row in store.rows(of_several, values):
        key, what, reason, refused, warns, files = row
        across[key].append(Across(what, reason, refused, warns, tuple(files)))
    entries: dict[str, list[str]] = {key: [] for key in review_keys}
    for key, name, reason in store.rows(of_entries, values):
        entries[key].append(f"{name}: refused: {reason}")
    return {
        key: ReviewOutcome(tuple(captures[key]), tuple(across[key]), tuple(entries[key]))
        for key in review_keys
    }


UNUSED = f"""
WITH part AS (
    SELECT DISTINCT review_key, analysis_key, unnest(list_filter(
        string_split(reason, '; '), lambda part: starts_with(part, '{BEGINNING}'))) AS part
    FROM reading
    WHERE contains(reason, '{BEGINNING}')
),
named_once AS (
    SELECT review_key, file, any_value(analysis_key) AS analysis_key, min(position) AS position
    FROM capture
    GROUP BY review_key, file
    HAVING count(*) = 1
)
SELECT part, list(file ORDER BY position) FROM part
JOIN named_once USING (review_key, analysis_key)
WHERE review_key = ?
GROUP BY part ORDER BY min(position), part
"""
"""A file that several captures name holds what is meant for the others."""


def unused_in(store: Database, review_key: str) -> tuple[str, ...]:
    """A line for each set of tracks and columns that no capture of a review uses."""
    rows = store.rows(UNUSED, [review_key])
    return tuple(f"{_files(files)}: {part}" for part, files in rows)
