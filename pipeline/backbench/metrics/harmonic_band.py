"""Which harmonics of a tone lie in the band of a record and of a metric, and which do not.

A harmonic that was not recorded is not absent. A figure of the whole distortion needs the second
and the third harmonic, the lowest of an asymmetrical and of a symmetrical transfer: without one of
them a limiting output can look clean.
"""

from __future__ import annotations

import math

from backbench.documents.clear_frequencies import CLEAR_HZ, clear_hz
from backbench.errors import NotApplicable
from backbench.metrics.declaration import MeasuredValue
from backbench.metrics.doubtful_mains import doubtful_harmonics, doubtful_mains
from backbench.metrics.shown_band import beyond_shown, last_shown, not_shown
from backbench.metrics.tone import ToneView
from backbench.metrics.tone_wavering import as_steady
from backbench.metrics.warnings import joined
from backbench.quantities.writing import in_text
from backbench.signal.harmonics import Harmonics, Parts
from backbench.signal.kept_property import kept_with_it
from backbench.signal.power import STANDING
from backbench.signal.tone import BAND_HZ, EDGE, LAST_ORDER, PASS_BAND

LEAST_ORDER = 3
BAND_CHOICE = (
    "; given only where the second and the third harmonic lie in the record's band; detail says "
    "where that band, as far as the record shows it to go, leaves out others"
)


def counted(tone: ToneView, first: int, last: int, up_to_hz: float = math.inf) -> Harmonics:
    """Harmonics 2 to last, as far as the record and the frequency go.

    Raises NotApplicable where none from `first` on is in that band.
    """
    lines = tone.beside_mains()
    reached = min(last, lines.last_order(up_to_hz))
    if reached < first:
        band = "the band that was recorded" if math.isinf(up_to_hz) else "20 Hz to 20 kHz"
        which = "no harmonic" if first == 2 else f"no harmonic from the {first}th on"
        raise NotApplicable(f"{which} of {in_text(tone.stated_hz, 'Hz', 6)} lies in {band}")
    last_seen = last_shown(tone)
    if last_seen < first:
        raise NotApplicable(not_shown(tone))
    return as_steady(tone, int(min(reached, last_seen)))


def with_second_and_third(tone: ToneView, up_to_hz: float = math.inf) -> tuple[Harmonics, int]:
    """All harmonics of the definition in band, and the order of the last of them.

    Up to the tenth or the last that the record shows itself to hold, or where a frequency is given
    up to that. Raises NotApplicable where the second or the third is out of the record's band or
    above the frequency, or not shown, or where the record ends below it.
    """
    return _to_the_tenth(tone) if math.isinf(up_to_hz) else _with_both(tone, up_to_hz)


@kept_with_it
def _to_the_tenth(tone: ToneView) -> tuple[Harmonics, int]:
    return _with_both(tone, math.inf)


def _with_both(tone: ToneView, up_to_hz: float) -> tuple[Harmonics, int]:
    lines = tone.beside_mains()
    recorded = PASS_BAND * lines.spectrum.rate_hz
    if math.isfinite(up_to_hz) and recorded * EDGE < up_to_hz:
        raise NotApplicable(
            f"the record's band ends at {in_text(recorded, 'Hz')}, short of "
            f"{in_text(up_to_hz, 'Hz')}; record at a higher sample rate"
        )
    most = LAST_ORDER if math.isinf(up_to_hz) else math.floor(up_to_hz)
    last = min(most, lines.last_order(up_to_hz))
    if last < LEAST_ORDER:
        raise NotApplicable(_out_of_band(tone, min(recorded, up_to_hz), last, up_to_hz))
    last_seen = last_shown(tone)
    if last_seen < LEAST_ORDER:
        raise NotApplicable(not_shown(tone))
    if math.isinf(up_to_hz):
        last = int(min(last, last_seen))
    return as_steady(tone, last), last


def _out_of_band(tone: ToneView, top_hz: float, last: int, up_to_hz: float) -> str:
    which = "second and third harmonics" if last < 2 else "third harmonic"
    whose = "the record's band" if math.isinf(up_to_hz) else "the band of this figure"
    reason = (
        f"the {which} of {in_text(tone.stated_hz, 'Hz', 6)} lie above {whose}, which ends at "
        f"{in_text(top_hz, 'Hz')}"
    )
    if math.isinf(up_to_hz):
        least = LEAST_ORDER * tone.stated_hz / PASS_BAND
        reason += f"; record at {in_text(least, 'Hz', 4)} or more"
    return reason if last < 2 else reason.replace(" lie above", " lies above")


def harmonic_detail(last: int) -> dict[str, str]:
    """Detail of a figure from which the record's band left harmonics out; empty where none."""
    if last >= LAST_ORDER:
        return {}
    return {"harmonics": "only 2" if last == 2 else f"2 to {last}"}


def ceiling_of(tone: ToneView, last: int) -> float:
    """What harmonics within the band can't be above: all that is there beside the tone, V.

    Where mains lines may lie under them that holds no longer: the two may cancel.
    """
    lines = tone.lines
    harmonics = lines.harmonics(last)
    if harmonics.with_hum and (harmonics.hum > STANDING * harmonics.noise).any():
        return math.inf
    most = lines.residual.rms + math.sqrt(lines.steps)
    return most if last * lines.frequency_hz <= BAND_HZ[1] * EDGE else math.inf


def beyond_band(tone: ToneView, figure: MeasuredValue, top_hz: float) -> MeasuredValue:
    """The figure of a residual, with a remark where harmonics of the tone lie above its band, or
    where the record may have lost them."""
    figure = beyond_shown(tone, figure)
    if LEAST_ORDER * tone.lines.frequency_hz <= top_hz * EDGE:
        return figure
    which = "third harmonic" if 2 * tone.lines.frequency_hz <= top_hz * EDGE else "second harmonic"
    remark = (
        f"the harmonics of {in_text(tone.stated_hz, 'Hz', 6)} from the {which} on lie above "
        f"{in_text(top_hz, 'Hz')} and "
        "are no part of this"
    )
    return figure.but(remark=joined(figure.remark, remark))


MAINS_MATTERS = 0.1
"""Share of its power that the mains may hide in a figure before that is remarked on."""
MOST_NAMED = 9
"""Harmonics 2 to 10 at most: of more, how many."""
NEAR_ROUND = 0.1
"""Relative distance from a round frequency at which the clear one beside it is recommended."""


def with_mains(
    tone: ToneView, figure: MeasuredValue, harmonics: Harmonics, only: int | None = None
) -> MeasuredValue:
    """The figure, with a remark where mains lines may make up a good part of its harmonics.

    only: the one harmonic that the figure is of.
    """
    doubt = doubtful_mains(tone)
    if doubt is None and figure.bound is None:
        doubt = doubtful_harmonics(tone, harmonics, only)
    if doubt is not None:
        figure = figure.but(remark=joined(figure.remark, doubt))
    if figure.bound is None and not harmonics.with_hum:
        return figure
    parts = harmonics.parts_of(only)
    figure = _with_steps(tone, figure, parts)
    if parts.hum <= MAINS_MATTERS * parts.seen:
        return figure
    return figure.but(remark=joined(figure.remark, mains_remark(tone, harmonics, only)))


def _with_steps(tone: ToneView, figure: MeasuredValue, parts: Parts) -> MeasuredValue:
    """The figure, with a remark where undithered steps of the samples make it a bound."""
    if figure.bound is None or parts.number * tone.lines.steps <= MAINS_MATTERS * parts.noise:
        return figure
    remark = (
        f"samples in steps of {in_text(tone.lines.step_v, 'V')} without dither make "
        "harmonics of their own; record in longer words or with dither"
    )
    return figure.but(remark=joined(figure.remark, remark))


def _mains(tone: ToneView) -> str:
    """The mains frequency as stated, and those that it may have been instead."""
    stated = [tone.capture_data.mains_hz or 0.0]
    return " or ".join(in_text(hz, "Hz", 6) for hz in [*stated, *tone.lines.unconfirmed])


def mains_remark(tone: ToneView, harmonics: Harmonics, only: int | None = None) -> str:
    """Which harmonics mains lines may hide in, and what to play instead.

    only: the one of them that is looked at; all where not given.
    """
    hit = harmonics.orders[(harmonics.hum > 0) | harmonics.blind].tolist()
    named = [n for n in hit if only in (None, n)]
    more = f" and {len(named) - MOST_NAMED} more" if len(named) > MOST_NAMED else ""
    orders = ", ".join(map(str, named[:MOST_NAMED])) + more
    hz = tone.stated_hz
    nearest = min(CLEAR_HZ, key=lambda round_hz: abs(round_hz / hz - 1))
    other = abs(nearest / hz - 1) < NEAR_ROUND and clear_hz(nearest) != hz
    clear = in_text(clear_hz(nearest), "Hz", 6) if other else "another frequency"
    return (
        f"lines or sidebands of the {_mains(tone)} mains may lie under harmonics "
        f"{orders} of {in_text(hz, 'Hz', 6)} (play {clear} to tell them apart)"
    )
