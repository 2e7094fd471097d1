"""Whether the sample rate that a file states is that of the recorder, by a tone of the session.

With nothing playing hardly anything tells of the rate: mains lines where the stated rate puts them,
and what another capture of the same recorder shows, are all there is.
"""

from __future__ import annotations

from backbench.documents.stimuli import Tone
from backbench.errors import Refusal
from backbench.metrics.declaration import CaptureData
from backbench.quantities.writing import in_text
from backbench.signal.sample_rates import fitting_rate
from backbench.signal.tone_search import loudest_hz
from backbench.signal.track import Track
from backbench.signal.transport_speed import played_hz

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
        A capture of one tone, from a generator or played; None where the session has none.
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
        Where a generator's tone lies there only under another usual rate. One that a machine plays
        may be elsewhere by the machine's speed, so that it refutes no rate.
    """
    other = next(iter(witness.outputs.values()), None) if witness is not None else None
    if other is not None and not _is_one(other.rate_hz, rate_hz):
        return (
            f"nothing shows that the sample rate was {in_text(rate_hz, 'Hz', 6)} as the file says: "
            "no mains lines confirm it, and the session's tone has "
            f"{in_text(other.rate_hz, 'Hz', 6)}"
        )
    in_place = witness is not None and _is_in_place(witness, rate_hz)
    return None if in_place else HEADER_ALONE


def _is_in_place(witness: CaptureData, rate_hz: float) -> bool:
    """Whether the session's tone lies where it was stated. Raises Refusal as rate_untold."""
    tone = witness.stimulus
    stated, within = tone.frequency, tone.shows_rate_within
    if stated is None or within is None:
        return False
    tracks = [x for x in witness.outputs.values() if _is_one(x.rate_hz, rate_hz)]
    by_generator = isinstance(tone, Tone)
    places = [loudest_hz(x, stated) if by_generator else _played_hz(x, stated) for x in tracks]
    found = [hz for hz in places if hz is not None]
    if by_generator:
        _refuse_wrong_rate(stated, found, rate_hz)
    return any(abs(hz / stated - 1) <= within for hz in found)


def _refuse_wrong_rate(stated_hz: float, found_hz: list[float], rate_hz: float) -> None:
    rates = [fitting_rate(rate_hz, found, stated_hz) for found in found_hz]
    rate = next((each for each in rates if each is not None), None)
    if rate is not None:
        raise Refusal(
            f"the session's tone of {in_text(stated_hz, 'Hz', 6)} is where it was stated only if "
            f"the sample rate was {in_text(rate, 'Hz', 6)}, not {in_text(rate_hz, 'Hz', 6)} as its "
            "file and this one say: correct the headers of both"
        )


def _played_hz(track: Track, stated_hz: float) -> float | None:
    """Where a machine's tone lies, Hz; its flutter spreads it over many bins."""
    return played_hz(track.volts, track.rate_hz, stated_hz)


def _is_one(rate_hz: float, other_hz: float) -> bool:
    return abs(rate_hz / other_hz - 1) <= SAME
