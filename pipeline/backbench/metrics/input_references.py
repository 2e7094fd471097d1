"""Noise and overload of an input re the level that such an input is meant for."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from backbench.documents.input_sorts import COIL, LINE, PHONO, sort_of_input
from backbench.metrics.declaration import Bound, MeasuredValue, derived
from backbench.metrics.noise_ratios import noise_at_input
from backbench.metrics.reading_ratios import ratio_in_db
from backbench.metrics.sensitivity import input_limits
from backbench.metrics.session import (
    Derived,
    DerivedResult,
    Reading,
    RefusedDerivation,
    Session,
    grouped,
)
from backbench.metrics.session_spreads import RESIDUAL_DB
from backbench.metrics.traits import AT_IDLE, Traits
from backbench.quantities.writing import in_text
from backbench.signal.uncertainty import DB_PER_RELATIVE

FAMILY = "Noise and hum"

REFERENCE_V = {LINE: 0.5, PHONO: 5e-3, COIL: 0.5e-3}
"""Reference input voltages (IHF-A-202:1978, from memory)."""
_SOURCE = "IHF-A-202:1978 / EIA RS-490 (from memory)"
_LEVELS = "0.5 V at a line input, 5 mV at phono, 0.5 mV where its name says moving coil"


@derived(
    "snr_reference_input",
    title="SNR re the reference input",
    unit="dB",
    better="higher",
    source=_SOURCE,
    version=1,
    choice=f"{_LEVELS}, over the input-referred noise, A-weighted and unweighted (detail tells "
    "which), at the volume setting of the idle capture; the standard sets the volume so that the "
    "reference input gives the reference output, 0.5 V or 1 W",
    traits=Traits(
        compared_at=AT_IDLE,
        position=42,
        listening="unweighted noise below reference",
        on_request=True,
        usual_stimulus="idle",
        session_spread=RESIDUAL_DB,
        given_by="an idle capture and a tone of 1 kHz at the same input and volume setting",
    ),
)
def snr_reference_input(session: Session) -> Iterator[Derived]:
    """The reference voltage of the input over the noise referred to that input."""
    for noise in noise_at_input(session):
        level = _reference_v(session, noise.like)
        if level is not None and noise.figure.value > 0:
            yield replace(noise, figure=_over(level, noise.figure))


def _reference_v(session: Session, like: Reading) -> float | None:
    return REFERENCE_V.get(sort_of_input(like.input, session.kinds.get(like.unit_key, "")))


def _over(level_v: float, noise: MeasuredValue) -> MeasuredValue:
    """A voltage over a noise, dB."""
    bound: Bound | None = "lower" if noise.bound else None
    return replace(
        noise,
        value=20 * math.log10(level_v / noise.value),
        uncertainty=DB_PER_RELATIVE * noise.uncertainty / noise.value,
        estimation=DB_PER_RELATIVE * noise.estimation / noise.value,
        bound=bound,
    )


@derived(
    "phono_overload_margin",
    title="Phono overload re the reference input",
    unit="dB",
    better="higher",
    source=_SOURCE,
    version=1,
    choice="greatest input within the distortion limit (input_at_limit, in mV) re 5 mV, or re "
    "0.5 mV where the input's name says moving coil",
    traits=Traits(
        compared_at=("overload-1khz",),
        position=125,
        only_with="phono stage",
        point_family="greatest input",
        title_at_limit="Phono overload at {limit} % re reference",
        session_spread=RESIDUAL_DB,
        given_by="tones of 1 kHz at rising levels, up to the overload",
    ),
)
def phono_overload_margin(session: Session) -> Iterator[DerivedResult]:
    """The greatest input of a phono stage over the voltage that such a cartridge gives."""
    for given in input_limits(session):
        kind = session.kinds.get(given.like.unit_key, "")
        sort = sort_of_input(given.like.input, kind)
        if sort not in {PHONO, COIL}:
            continue
        yield given if isinstance(given, RefusedDerivation) else _margin(given, REFERENCE_V[sort])


def _margin(given: Derived, level_v: float) -> Derived:
    volts = given.figure
    figure = replace(
        volts,
        value=20 * math.log10(volts.value / level_v),
        uncertainty=DB_PER_RELATIVE * volts.uncertainty / volts.value,
        estimation=DB_PER_RELATIVE * volts.estimation / volts.value,
    )
    return replace(given, figure=figure)


@derived(
    "hum_over_volume",
    title="Hum over the volume control",
    unit="dB",
    better="neither",
    source="common practice, no source",
    version=1,
    choice="greatest less least hum of idle captures that differ in the volume setting alone; at "
    "0 dB it arises behind the control; a bound where the least is one",
    traits=Traits(usual_stimulus="idle"),
)
def hum_over_volume(session: Session) -> Iterator[DerivedResult]:
    """How far hum moves between settings of the volume control."""
    settled = [r for r in session.of("hum", stimulus="idle") if r.volume and r.value]
    for same in grouped(settled, _settings).values():
        if len({r.volume for r in same}) >= 2:
            yield _moved(same)


def _settings(r: Reading) -> tuple[object, ...]:
    return r.unit_key, r.output, r.input, r.tap, r.controls, r.load_kind, r.load_ohm


def _moved(hums: list[Reading]) -> DerivedResult:
    """Errors of scale that settings in one range have in common cancel."""
    known = [r for r in hums if r.bound is None]
    if not known:
        most = in_text(max(r.value or 0.0 for r in hums), "V")
        reason = f"hum is known to be at most {most} at every setting, not how much it is"
        return RefusedDerivation(reason, hums[0], tuple(hums))
    loudest = max(known, key=lambda r: r.value or 0.0)
    weakest = min(hums, key=lambda r: r.value or 0.0)
    if weakest.bound and (weakest.value or 0.0) >= (loudest.value or 0.0):
        weakest = min(known, key=lambda r: r.value or 0.0)
    bound: Bound | None = "lower" if weakest.bound else None
    figure = replace(ratio_in_db(loudest, weakest), bound=bound)
    return Derived(figure, loudest, tuple(hums))
