"""Source impedance from the voltages across two loads."""

from __future__ import annotations

import math
from typing import NamedTuple


class Loaded(NamedTuple):
    """A voltage across a load.

    volts: rms, > 0. u_rel: relative standard uncertainty that the two voltages don't share.
    ohm: the load, math.inf where the output was open. load_u_rel: of the load, relative.
    """

    volts: float
    u_rel: float
    ohm: float
    load_u_rel: float


class Ohms(NamedTuple):
    """A resistance and its standard uncertainty; `estimation` is the part from the voltages."""

    value: float
    u: float
    estimation: float


def source_impedance(light: Loaded, heavy: Loaded) -> Ohms:
    """Zo = R1 R2 (k - 1) / (R1 - k R2) with k = V(R1) / V(R2), R1 the lighter load.

    With R1 open: R2 (k - 1). First-order propagation (GUM 5.1.2); the loads are taken as
    independent of each other. The magnitude of the impedance where its reactive part is small.
    Raises ValueError where the loads are equal, or so light a fall can't be of a source: the
    heavier load must draw the voltage down by less than the ratio of the loads.
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
