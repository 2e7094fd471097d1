"""What the metrics and curves of one track of a capture gave."""

from __future__ import annotations

from dataclasses import dataclass

from backbench.metrics.declaration import CurveData, MeasuredValue, Metric


@dataclass(frozen=True, init=False)
class Finding:
    """What one metric gave on one track: a figure, or a status with its reason.

    Parameters
    ----------
    metric : Metric
        The quantity.
    track : int
        Output track, by position in the file (from 1).
    status : str
        "measured", "at_floor" for a bound; "rejected" or "not_applicable" without a figure.
    figure : MeasuredValue or None
        None where there is no number.
    reason : str or None
        Why there is none; the figure's remark where there is one.
    generator_vrms, power_w : float or None
        V rms and W of the part of the capture that it was found in, where the capture holds several
        levels.
    row : int or None
        The row of a table that it was found in, from 1.
    """

    metric: Metric
    track: int
    status: str
    figure: MeasuredValue | None
    reason: str | None
    generator_vrms: float | None = None
    power_w: float | None = None
    row: int | None = None

    def __init__(
        self,
        metric: Metric,
        track: int,
        status: str,
        figure: MeasuredValue | None,
        reason: str | None,
        generator_vrms: float | None = None,
        power_w: float | None = None,
        row: int | None = None,
    ) -> None:
        # What a frozen dataclass does field by field takes three times as long.
        self.__dict__.update(
            metric=metric, track=track, status=status, figure=figure, reason=reason,
            generator_vrms=generator_vrms, power_w=power_w, row=row,
        )  # fmt: skip

    @property
    def of_part(self) -> bool:
        """Whether it was found in one level of a capture that holds several."""
        return self.generator_vrms is not None or self.row is not None


@dataclass(frozen=True, eq=False)
class Trace:
    """A curve of one track.

    Parameters
    ----------
    name : str
        Of the curve.
    version : int
        Of its method.
    track : int
        Output track, by position in the file (from 1).
    x_unit, y_unit : str
        As the trade writes them.
    data : CurveData
        The arrays.
    """

    name: str
    version: int
    track: int
    x_unit: str
    y_unit: str
    data: CurveData
