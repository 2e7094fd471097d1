"""Source impedance from the voltages across two loads, as magnitudes or as phasors."""

from __future__ import annotations

import cmath
import math
from typing import NamedTuple


class Loaded(NamedTuple):
    """A voltage across a load.

    Parameters
    ----------
    volts : float
        V rms, > 0.
    u_rel : float
        Relative standard uncertainty that the two voltages don't share.
    ohm : float
        The load, ohm; math.inf where the output was open.
    load_u_rel : float
        Of the load, relative.
    """

    volts: float
    u_rel: float
    ohm: float
    load_u_rel: float


class Ohms(NamedTuple):
    """A resistance and its standard uncertainty.

    Parameters
    ----------
    value, u : float
        ohm.
    estimation : float
        The part of u from the voltages, ohm.
    """

    value: float
    u: float
    estimation: float


def regulation_resistance(light: Loaded, heavy: Loaded) -> Ohms:
    """Zo = R1 R2 (k - 1) / (R1 - k R2) with k = V(R1) / V(R2), R1 the lighter load.

    Parameters
    ----------
    light, heavy : Loaded
        Of the lighter and of the heavier load; the first load may be infinite.

    Returns
    -------
    Ohms
        The resistance that would draw the voltage down as much: the source impedance where that is
        a resistance, and less than its magnitude where it is reactive. Negative where the voltage
        rises under the heavier load.

    Raises
    ------
    ValueError
        Where the first load isn't the lighter, or the voltage falls by as much as the loads' ratio
        or more, which no source impedance explains.

    Notes
    -----
    With R1 open: R2 (k - 1). The loads are taken as independent of each other.

    References
    ----------
    GUM 5.1.2 (first-order propagation).
    """
    if not light.ohm > heavy.ohm:
        raise ValueError("the first load must be the lighter")
    k = light.volts / heavy.volts
    r2 = heavy.ohm
    if math.isinf(light.ohm):
        by_k, by_r1, by_r2 = r2, 0.0, k - 1
        value = r2 * (k - 1)
    else:
        r1 = light.ohm
        room = r1 - k * r2
        if room <= 0:
            raise ValueError("the voltage falls by more than any source impedance explains")
        value = r1 * r2 * (k - 1) / room
        by_k = r1 * r2 * (r1 - r2) / room**2
        by_r1 = -k * r2**2 * (k - 1) / room**2
        by_r2 = r1**2 * (k - 1) / room**2
    estimation = abs(by_k) * k * math.hypot(light.u_rel, heavy.u_rel)
    loads = math.hypot(
        by_r2 * r2 * heavy.load_u_rel,
        0.0 if math.isinf(light.ohm) else by_r1 * light.ohm * light.load_u_rel,
    )
    return Ohms(value, math.hypot(estimation, loads), estimation)


class Phasor(NamedTuple):
    """A voltage across a load, re one input, as a complex number.

    Parameters
    ----------
    value : complex
        Volts, or a gain.
    u_rel, u_rad : float
        Standard uncertainties of magnitude (relative) and angle (rad) that the two loads' phasors
        don't share.
    ohm, load_u_rel : float
        As of Loaded.
    """

    value: complex
    u_rel: float
    u_rad: float
    ohm: float
    load_u_rel: float


class ComplexOhms(NamedTuple):
    """An impedance as a complex number.

    Parameters
    ----------
    z : complex
        ohm.
    u : float
        Standard uncertainty of its magnitude, ohm.
    estimation : float
        The part of u from the phasors, ohm.
    u_rad : float
        Standard uncertainty of its angle, rad.
    """

    z: complex
    u: float
    estimation: float
    u_rad: float

    @property
    def value(self) -> float:
        """Magnitude, ohm."""
        return abs(self.z)


def complex_impedance(light: Phasor, heavy: Phasor) -> ComplexOhms:
    """The source impedance from phasors across two loads.

    Parameters
    ----------
    light, heavy : Phasor
        Of the lighter and of the heavier load, at one frequency and re the same input; the first
        load may be infinite.

    Returns
    -------
    ComplexOhms
        Zo = R1 R2 (k - 1) / (R1 - k R2) with k = V(R1) / V(R2), all of it complex; with R1 open
        R2 (k - 1). First-order propagation (GUM 5.1.2) of both magnitudes and angles and of the
        loads, each taken as independent.

    Raises
    ------
    ValueError
        Where the first load isn't the lighter, or no source impedance explains the voltages.

    Notes
    -----
    The loads are taken as resistances. Voltage divider of a Thevenin source.
    """
    if not light.ohm > heavy.ohm:
        raise ValueError("the first load must be the lighter")
    k, r2 = light.value / heavy.value, heavy.ohm
    if math.isinf(light.ohm):
        z, by_k, by_r1, by_r2 = r2 * (k - 1), complex(r2), 0j, k - 1
        r1 = 0.0
    else:
        r1 = light.ohm
        room = r1 - k * r2
        if room == 0:
            raise ValueError("the voltage falls by more than any source impedance explains")
        z = r1 * r2 * (k - 1) / room
        by_k = r1 * r2 * (r1 - r2) / room**2
        by_r1 = -k * r2**2 * (k - 1) / room**2
        by_r2 = r1**2 * (k - 1) / room**2
    turned = cmath.exp(-1j * cmath.phase(z)) if z else 1.0
    own = [
        by_k * k * part
        for one in (light, heavy) for part in (one.u_rel, 1j * one.u_rad)
    ]  # fmt: skip
    loads = [by_r1 * r1 * light.load_u_rel, by_r2 * r2 * heavy.load_u_rel]
    along = [(part * turned).real for part in own]
    across = math.hypot(*((part * turned).imag for part in own + loads))
    u = math.hypot(*along, *((part * turned).real for part in loads))
    return ComplexOhms(z, u, math.hypot(*along), across / abs(z) if z else math.pi)


def reactance(light_volts: float, heavy_volts: float, light: float, heavy: float) -> float:
    """The pure reactance that draws the magnitude down as much between two loads, ohm.

    Parameters
    ----------
    light_volts, heavy_volts : float
        Magnitudes of the voltages, V, or of gains; above 0.
    light, heavy : float
        The loads, ohm; the first may be infinite.

    Returns
    -------
    float
        Infinite where none draws it down so far; 0 where the voltage rises under the heavier load.

    Notes
    -----
    All sources that give the same two magnitudes lie on a circle in the plane of impedance. Of
    those without a negative resistance the resistance and the reactance on it have the least and
    the greatest magnitude, either way round.
    """
    square = (light_volts / heavy_volts) ** 2
    room = 1 / heavy**2 - (0.0 if math.isinf(light) else square / light**2)
    if room <= 0:
        return math.inf
    return math.sqrt(max(square - 1, 0.0) / room)
