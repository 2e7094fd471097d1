"""When a frequency that was played stands for that of a test point, as SQL."""

from __future__ import annotations

from backbench.documents.clear_frequencies import (
    CLEAR_HZ,
    CLEAR_PAIRS_HZ,
    WITHIN,
    standing_for,
)

PLAYED = "TRY_CAST(first(stimulus_json ORDER BY position) ->> '$.tones_hz' AS DOUBLE[])"
"""The pair of tones that the captures of an analysis played, an aggregate of table capture."""


def same_frequency(played: str, wanted: str) -> str:
    """A condition: a column of frequencies is within what stands for another, Hz."""
    least, most = (
        " ".join(
            [f"CASE {wanted}"]
            + [f"WHEN {hz!r} THEN {standing_for(hz)[end]!r}" for hz in CLEAR_HZ]
            + [f"ELSE {wanted} * {1 + (WITHIN if end else -WITHIN)!r} END"]
        )
        for end in (0, 1)
    )
    return f"{played} BETWEEN {least} AND {most}"


def off_frequency(played: str, wanted: str) -> str:
    """How far a frequency is from the wanted one, in whole percent: 0 for 997 Hz at 1 kHz."""
    return f"coalesce(round(100 * abs({played} / {wanted} - 1)), 0)"


def same_pair(played: str, wanted: str) -> str:
    """A condition: a column of pairs is the wanted pair or the one played in its place, Hz."""
    clear = " ".join(f"WHEN {list(pair)} THEN {list(to)}" for pair, to in CLEAR_PAIRS_HZ.items())
    return f"({played} = {wanted} OR {played} = CASE {wanted} {clear} END)"
