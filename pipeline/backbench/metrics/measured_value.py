"""A number with its uncertainty, as every metric gives it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

Bound = Literal["upper", "lower"]


@dataclass(frozen=True, init=False)
class MeasuredValue:
    """A number with its standard uncertainty, both in the metric's unit.

    Parameters
    ----------
    value : float
        In the metric's unit.
    uncertainty : float
        Standard uncertainty, whole, in the same unit.
    estimation : float
        The part of it that comes from this record alone (noise, record length), independent from
        capture to capture. The rest (calibration, load) is shared by captures of one bench.
    dof : float
        Effective degrees of freedom of the uncertainty.
    bound : {"upper", "lower"} or None
        "upper" where the true value is at most this, "lower" where it is at least this.
    order : int or None
        Harmonic number, or multiple of the mains frequency, where there is one.
    frequency_hz : float or None
        The frequency that this figure belongs to where it isn't the stimulus's, Hz.
    limit_percent : float or None
        The distortion limit, for powers at a limit, %.
    detail : dict of str to str
        Further conditions, as short text by name; part of the reading's identity.
    remark : str or None
        Short words kept beside the number (why a bound, a likely cause); no part of it.
    """

    value: float
    uncertainty: float
    estimation: float = 0.0
    dof: float = math.inf
    bound: Bound | None = None
    order: int | None = None
    frequency_hz: float | None = None
    limit_percent: float | None = None
    detail: dict[str, str] = field(default_factory=dict)
    remark: str | None = None

    def __init__(
        self,
        value: float,
        uncertainty: float,
        estimation: float = 0.0,
        dof: float = math.inf,
        bound: Bound | None = None,
        order: int | None = None,
        frequency_hz: float | None = None,
        limit_percent: float | None = None,
        detail: dict[str, str] | None = None,
        remark: str | None = None,
    ) -> None:
        # What a frozen dataclass does field by field takes three times as long.
        self.__dict__.update(
            value=value, uncertainty=uncertainty, estimation=estimation, dof=dof, bound=bound,
            order=order, frequency_hz=frequency_hz, limit_percent=limit_percent,
            detail={} if detail is None else detail, remark=remark,
        )  # fmt: skip

    def but(self, **changes: Any) -> MeasuredValue:
        """The same with other values in some fields (dataclasses.replace in a quarter of its time).

        Raises TypeError for a field that there isn't.
        """
        if not changes.keys() <= self.__dict__.keys():
            raise TypeError(f"a measured value has no {', '.join(changes)}")
        other = object.__new__(MeasuredValue)
        other.__dict__.update(self.__dict__, **changes)
        return other
