"""Conditions at which units may be compared: assign, interpolate, scope."""
