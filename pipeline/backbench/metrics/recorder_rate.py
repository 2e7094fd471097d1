"""Whether the sample rate that a file states is that of the recorder, by a tone of the session.

With nothing playing hardly anything tells of the rate: mains lines where the stated rate puts them,
and what another capture of the same recorder shows, are all there is.
"""

from __future__ import annotations

from collections.abc import Iterator

from backbench.documents.stimuli import Tone
from backbench.errors import Refusal
from backbench.metrics.declaration import CaptureData
from backbench.quantities.writing import in_text
from backbench.signal.sample_rates import fitting_rate
from backbench.signal.tone_search import GENERATOR_TOLERANCE, loudest_hz

SAME = 1e-6
"""Relative distance of two rates that files state, within which they are one."""
HEADER_ALONE = (
    "the sample rate rests on the file's header alone: no tone of this session and no mains lines "
    "confirm it"
)


def rate_untold(witness: CaptureData | None, rate_hz: float) -> str | None:
    """That no tone of the session shows the sample rate of a file with nothing playing.

    Parameters
    ----------
    witness : CaptureData or None
        A tone's capture; None where the session has none.
    rate_hz : float
        As the file with nothing playing states, Hz.

    Returns
    -------
    str or None
        To be told where no mains lines show it either; None where the tone lies where it was
        stated, under the same stated rate.

    Raises
    ------
    Refusal
        Where it lies there only under another usual rate.
    """
    other = next(iter(witness.outputs.values()), None) if witness is not None else None
    if other is not None and not _is_one(other.rate_hz, rate_hz):
        return (
            f"nothing shows that the sample rate was {in_text(rate_hz, 'Hz', 6)} as the file says: "
            "no mains lines confirm it, and the session's tone has "
            f"{in_text(other.rate_hz, 'Hz', 6)}"
        )
    stated = _stated_hz(witness)
    found = [*_found(witness, rate_hz)]
    _refuse_wrong_rate(stated, found, rate_hz)
    in_place = any(abs(hz / stated - 1) <= GENERATOR_TOLERANCE for hz in found)
    return None if in_place else HEADER_ALONE


def _refuse_wrong_rate(stated_hz: float, found_hz: list[float], rate_hz: float) -> None:
    rates = [fitting_rate(rate_hz, found, stated_hz) for found in found_hz]
    rate = next((each for each in rates if each is not None), None)
    if rate is not None:
        raise Refusal(
            f"the session's tone of {in_text(stated_hz, 'Hz', 6)} is where it was stated only if "
            f"the sample rate was {in_text(rate, 'Hz', 6)}, not {in_text(rate_hz, 'Hz', 6)} as its "
            "file and this one say: correct the headers of both"
        )


def _found(witness: CaptureData | None, rate_hz: float) -> Iterator[float]:
    """Where the session's tone lies on each track of the same stated rate, Hz."""
    tracks = witness.outputs.values() if witness is not None else ()
    stated = _stated_hz(witness)
    each = (loudest_hz(t, stated) for t in tracks if stated and _is_one(t.rate_hz, rate_hz))
    return (hz for hz in each if hz is not None)


def _stated_hz(witness: CaptureData | None) -> float:
    """Frequency of the session's tone as stated, Hz; 0 where there is none."""
    tone = witness.stimulus if witness is not None else None
    return tone.tone_hz if isinstance(tone, Tone) else 0.0


def _is_one(rate_hz: float, other_hz: float) -> bool:
    return abs(rate_hz / other_hz - 1) <= SAME
