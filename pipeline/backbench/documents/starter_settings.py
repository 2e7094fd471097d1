"""The settings that a new catalogue begins with."""

from __future__ import annotations

STARTER_SETTINGS = """\
# Settings of this catalogue. Nothing is implied: a bench has no default calibration.
title = "My bench"

# One table for each measuring chain. Uncertainties are standard uncertainties (k = 1).
# [bench.garage]
# load_uncertainty_percent = 0.5         # of the dummy load's resistance when warm
# generator_uncertainty_percent = 0.5    # of the generator's stated level
#
# [[bench.garage.calibration]]
# since = 2024-01-01
# range = "50 V"                         # leave out where the bench has one range only
# volts_peak_at_full_scale = { 1 = 50.0, 2 = 50.0 }   # of each track
# uncertainty_percent = 0.3
"""
