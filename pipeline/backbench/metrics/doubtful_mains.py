"""A tone on a multiple of the other mains frequency, where no line tells which of them it was.

Its harmonics then lie on the lines of that mains, which can't be told from them, and clear of those
of the stated frequency: a statement that is wrong would go unseen.
"""

from __future__ import annotations

from weakref import WeakKeyDictionary

from backbench.metrics.tone import ToneView
from backbench.quantities.writing import in_text
from backbench.signal.hidden_hum import MOST_MULTIPLE, OFF_NOMINAL

_kept: WeakKeyDictionary[ToneView, str | None] = WeakKeyDictionary()


def doubtful_mains(tone: ToneView) -> str | None:
    """That lines of the other usual mains frequency may be among the harmonics; None where not."""
    if tone not in _kept:
        _kept[tone] = _remark(tone)
    return _kept[tone]


def _remark(tone: ToneView) -> str | None:
    stated = tone.capture_data.mains_hz
    on = [hz for hz in tone.lines.unconfirmed if _lies_on(tone, hz)]
    if not stated or not on:
        return None
    return (
        f"no line tells that the mains frequency was {in_text(stated, 'Hz', 6)}: were it "
        f"{in_text(on[0], 'Hz', 6)}, its lines would lie under {in_text(tone.stated_hz, 'Hz', 6)} "
        "and its harmonics (play another frequency to tell them apart)"
    )


def _lies_on(tone: ToneView, mains_hz: float) -> bool:
    """Whether all harmonics of the tone lie on the lines of a mains frequency."""
    hz, lines = tone.lines.frequency_hz, tone.lines
    multiple = round(hz / mains_hz)
    reach = lines.spectrum.resolution_hz + OFF_NOMINAL * hz
    return 1 <= multiple <= MOST_MULTIPLE and abs(hz - multiple * mains_hz) <= reach
