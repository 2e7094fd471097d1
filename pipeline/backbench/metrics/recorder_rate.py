"""Whether the sample rate that a file states is that of the recorder, by a tone of the session.

With nothing playing hardly anything tells of the rate: what another capture of the same recorder
shows is all there is.
"""

from __future__ import annotations

from backbench.documents.stimuli import Tone
from backbench.errors import Refusal
from backbench.metrics.declaration import CaptureData
from backbench.quantities.writing import in_text
from backbench.signal.tone_search import rate_by_tone

SAME = 1e-6
"""Relative distance of two rates that files state, within which they are one."""


def rate_untold(witness: CaptureData | None, rate_hz: float) -> str | None:
    """That the session's tone was recorded at another rate, as its file states; None where not.

    To be told where nothing in the record itself shows that its own rate is as stated.
    """
    other = next(iter(witness.outputs.values()), None) if witness is not None else None
    if other is None or abs(other.rate_hz / rate_hz - 1) <= SAME:
        return None
    return (
        f"nothing shows that the sample rate was {in_text(rate_hz, 'Hz', 6)} as the file says: no "
        f"hum is seen, and the session's tone has {in_text(other.rate_hz, 'Hz', 6)}"
    )


def refuse_wrong_rate(witness: CaptureData | None, rate_hz: float) -> None:
    """Raise Refusal where the session's tone lies where it would under another sample rate.

    witness: the tone's capture, None where there is none. rate_hz: as the file with nothing playing
    states. A tone that was recorded at another stated rate tells nothing of this one.
    """
    if witness is None or not isinstance(witness.stimulus, Tone):
        return
    hz = witness.stimulus.tone_hz
    same = [t for t in witness.outputs.values() if abs(t.rate_hz / rate_hz - 1) <= SAME]
    rates = [rate_by_tone(track, hz) for track in same]
    rate = next((found for found in rates if found is not None), None)
    if rate is not None:
        raise Refusal(
            f"the session's tone of {in_text(hz, 'Hz', 6)} is where it was stated only if the "
            f"sample rate was {in_text(rate, 'Hz', 6)}, not {in_text(rate_hz, 'Hz', 6)} as its "
            "file and this one say: correct the headers of both"
        )
