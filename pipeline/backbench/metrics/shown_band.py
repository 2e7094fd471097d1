"""Up to which harmonic of a tone the record itself shows that it holds lines.

Where the noise is that of the samples' steps alone, a file that was coded with losses, or
converted up in rate, looks like one that was not: what it lost of the tone's harmonics can't be
told from what there never was.
"""

from __future__ import annotations

import math

from backbench.errors import NotApplicable
from backbench.metrics.declaration import MeasuredValue
from backbench.metrics.tone import ToneView
from backbench.metrics.warnings import joined
from backbench.quantities.writing import in_text
from backbench.signal.kept_property import kept_with_it
from backbench.signal.power import STANDING, SURELY
from backbench.signal.recorded_band import shown
from backbench.signal.tone import BAND_HZ

LAST_TWO = 2
"""Harmonics at the end of what is shown, of which one stands out where others may follow: a limiter
has every second one."""


@kept_with_it
def last_shown(tone: ToneView) -> float:
    """The last order up to which the record shows that it holds lines.

    Infinite where nothing speaks against those beyond: noise other than that of the steps reaches
    the end of the band, or harmonics fall below the noise well before. So it is of a loop-back:
    what its recorder cuts off is cut off in the record beside it, and its steps bound what isn't.
    """
    if tone.loop_back:
        return math.inf
    hz = shown(tone.lines).hz
    if math.isinf(hz):
        return math.inf
    every = tone.lines.every_harmonic
    standing, surely = (every.orders[every.square > k * every.noise] for k in (STANDING, SURELY))
    last = max(int(hz / tone.lines.frequency_hz), int(surely.max(initial=0)))
    followed = last <= LAST_TWO or bool((standing > last - LAST_TWO).any())
    return last if followed else math.inf


def beyond_shown(tone: ToneView, figure: MeasuredValue) -> MeasuredValue:
    """The figure of all up to 20 kHz, with a remark where the record may have lost harmonics.

    Raises NotApplicable where these may be the strongest, or where the figure would be a bound.
    """
    last = last_shown(tone)
    if last >= tone.lines.last_order(BAND_HZ[1]):
        return figure
    if last <= LAST_TWO or figure.bound is not None:
        raise NotApplicable(not_shown(tone))
    remark = f"{not_shown(tone)}; the tone's harmonics above may be missing from this"
    return figure.but(remark=joined(figure.remark, remark))


def not_shown(tone: ToneView) -> str:
    """That nothing tells whether the record holds lines at the end of its band."""
    hz = max(shown(tone.lines).hz, last_shown(tone) * tone.lines.frequency_hz)
    return (
        f"above {in_text(hz, 'Hz', 3)} the record holds the noise of its own samples' steps and no "
        "line, so that nothing shows whether it was cut off there; record in longer words or with "
        "a more sensitive input range"
    )
