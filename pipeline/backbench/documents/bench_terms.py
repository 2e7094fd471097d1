"""What the settings say of a bench for one day and input range, in one comparable text."""

from __future__ import annotations

import datetime as dt
import json

from backbench.documents.settings import Settings, calibration_for


def bench_terms(settings: Settings, bench: str, day: dt.date, input_range: str | None) -> str:
    """Everything of the settings that the readings of a review rest on, as canonical JSON.

    Raises UserError where no calibration of that range is in force on that day.
    """
    held = calibration_for(settings, bench, day, input_range)
    own = settings.bench[bench]
    return json.dumps(
        {
            "since": held.since.isoformat(),
            "volts": {str(track): volts for track, volts in held.volts.items()},
            "relative": held.relative,
            "load": own.load_uncertainty_percent,
            "generator": own.generator_uncertainty_percent,
        },
        sort_keys=True,
    )
