"""What the metrics and curves of one track of a capture gave."""

from __future__ import annotations

from dataclasses import dataclass

from backbench.metrics.declaration import CurveData, MeasuredValue, Metric


@dataclass(frozen=True)
class Finding:
    """What one metric gave on one track: a figure, or a status with its reason.

    generator_vrms, power_w: of the part of the capture that it was found in, where the capture
        holds several levels.
    """

    metric: Metric
    track: int
    status: str
    figure: MeasuredValue | None
    reason: str | None
    generator_vrms: float | None = None
    power_w: float | None = None


@dataclass(frozen=True, eq=False)
class Trace:
    """A curve of one track."""

    name: str
    version: int
    track: int
    x_unit: str
    y_unit: str
    data: CurveData
