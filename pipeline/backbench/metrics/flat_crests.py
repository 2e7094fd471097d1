"""Whether it can't be told that the unit clips from that the recorder's input does."""

from __future__ import annotations

from backbench.signal.flat_tops import has_flat_crests
from backbench.signal.track import Track


def crest_remark(track: Track) -> str | None:
    """That crests are flat to the steps of a record's samples; None where they are not."""
    if not has_flat_crests(track):
        return None
    return (
        "the crests are flat to the steps of the samples, with no noise on them that would tell "
        "whether the unit clips or the recorder's input: record again at a lower gain and compare"
    )
