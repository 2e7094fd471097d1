"""Random records with exact truth: intervals hold it, and known faults don't pass unremarked."""

from __future__ import annotations

import pytest

from bench.adversary import run
from bench.adversary_score import FAR, Outcome, line

HELD_FAULTS = (
    "clock off", "converter clips", "distortion drifts", "hum beside the tone", "hum drifts",
    "mains under the tone", "motorboating", "oscillation", "repeated block",
)  # fmt: skip


@pytest.fixture(scope="module")
def honest() -> list[Outcome]:
    return run(range(0, 120, 3), seed=7)


def far(result: list[Outcome]) -> list[str]:
    return [line(x) for x in result if x.state == "measured" and x.score > FAR]


def test_honest_records_are_covered(honest: list[Outcome]) -> None:
    """Figures of one record rest on the same noise: the share scatters by a few percent."""
    given = [x for x in honest if x.state == "measured"]
    assert len(given) > 250
    assert sum(x.held for x in given) / len(given) > 0.92
    assert not far(honest)


def test_honest_records_are_not_refused(honest: list[Outcome]) -> None:
    assert sum(x.state == "refused" for x in honest) <= 0.01 * len(honest)


def test_bounds_of_honest_records_lie_on_their_side(honest: list[Outcome]) -> None:
    assert not [line(x) for x in honest if x.state == "bound" and not x.held]


def test_known_faults_are_refused_remarked_or_covered() -> None:
    result = run(range(0, 32, 2), seed=7, only=HELD_FAULTS)
    assert len(result) > 100
    assert not far(result)
