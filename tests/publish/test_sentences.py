"""Sentences say what the readings say, and nothing else."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from backbench.comparison.differences import Difference
from backbench.comparison.standings import Standing
from backbench.comparison.verdicts import Verdict
from backbench.ingest.outcomes import CaptureOutcome, ReviewOutcome, State
from backbench.publish import finding_sentences
from backbench.quantities.sentences import lowered


def line(title: str, rank: tuple[int, int] | None, n: int = 20, **more: Any) -> Standing:
    values: dict[str, Any] = {
        "unit_key": "a", "metric": "thd", "title": title, "unit": "%", "better": "lower",
        "point_key": "p", "point": "1 kHz", "output": "left", "limit_percent": None,
        "value": 1.0, "uncertainty": 0.1, "bound": None, "status": "measured", "n": n,
        "rank": rank, "percentile": 50.0, "around": (), "left_out": {}, **more,
    }  # fmt: skip
    return Standing(**values)


def difference(title: str, beyond: float | None, change: float = -1.0) -> Difference:
    return Difference(
        "thd", title, "%", "lower", "p", None, None, 2.0, 2.0 + change, change, 0.1, beyond
    )


def verdict(outcome: Any) -> Verdict:
    return Verdict("thd", "Distortion", "%", "at most", 1.0, "at most 1 %", "", "manual", outcome)


def test_outcomes_are_counted() -> None:
    message = finding_sentences.verdicts_sentence(
        [verdict("meets"), verdict("fails"), verdict("meets"), verdict("not measured")]
    )
    assert message == "Of 4 specifications it meets 2, fails 1 and has no reading for 1."
    assert (
        finding_sentences.verdicts_sentence([]) == "No specifications are recorded for this unit."
    )


@pytest.mark.parametrize(
    ("rank", "message"),
    [
        ((1, 5), "it is in the best quarter for noise"),
        ((1, 6), "not certainly in the best or the worst quarter"),
        ((16, 20), "it is in the worst quarter for noise"),
        ((15, 20), "not certainly in the best or the worst quarter"),
    ],
)
def test_a_quarter_is_claimed_only_for_a_whole_rank_interval(
    rank: tuple[int, int], message: str
) -> None:
    assert message in finding_sentences.ranks_sentence([line("Noise", rank)], "tube")


def test_without_ranks_there_is_no_place() -> None:
    message = finding_sentences.ranks_sentence(
        [line("Noise", None), line("Gain", (1, 2), n=3)], "tube"
    )
    assert message == "There are too few peers to rank this unit."


def test_changes_are_counted_beyond_uncertainty_only() -> None:
    result = [difference("A", 3.0), difference("B", 2.0, 1.0), difference("C", 0.5),
             difference("D", None)]  # fmt: skip
    message = finding_sentences.changes_sentence(result, "May")
    assert message.startswith(
        "Of 4 values measured in both, 1 became better and 1 became worse since May"
    )
    assert "none changed" in finding_sentences.changes_sentence([difference("C", 0.5)], "May")
    assert finding_sentences.changes_sentence([], "May").startswith("Nothing was measured")


def test_sides_that_agree_are_said_to_agree() -> None:
    assert "do not differ significantly" in finding_sentences.left_right_sentence(
        [difference("A", 0.2)]
    )
    message = finding_sentences.left_right_sentence(
        [difference("Noise", 2.0), difference("Noise", 4.0)]
    )
    assert message == "Left and right differ significantly in noise."
    assert "not measured under the same" in finding_sentences.left_right_sentence([])


def test_absences_are_named() -> None:
    states: tuple[State, ...] = ("whole", "refused", "failed", "partly refused")
    ended = ReviewOutcome(
        tuple(CaptureOutcome(n, f"{n}.flac", "tone", state, "") for n, state in enumerate(states))
    )
    message = finding_sentences.missing_sentence({"no load": ["Power"]}, ended, ["response"])
    assert message == (
        "Response was not measured, 1 quantity could not be determined, 2 captures could not be "
        "used and 1 capture could be used in part."
    )
    nothing = finding_sentences.missing_sentence({}, ReviewOutcome(), [])
    assert nothing.startswith("All usual tests were run")


def test_state_and_catalogue() -> None:
    day = dt.date(2024, 5, 11)
    assert finding_sentences.state_sentence("restored", ["bias set", "tubes replaced"], day) == (
        "Measured restored on 2024-05-11: bias set and tubes replaced."
    )
    assert (
        finding_sentences.catalogue_sentence(0, 0, 0, "", "")
        == "The catalogue holds no review yet."
    )
    assert finding_sentences.catalogue_sentence(1, 1, 1, "2024-05-11", "2024-05-11") == (
        "1 unit of 1 maker, measured in 1 review on 2024-05-11."
    )


@pytest.mark.parametrize(
    ("title", "within"),
    [("Residual noise", "residual noise"), ("DC offset", "DC offset"),
     ("SINAD", "SINAD"), ("", "")],
)  # fmt: skip
def test_titles_within_a_sentence(title: str, within: str) -> None:
    assert lowered(title) == within
