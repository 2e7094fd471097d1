"""Recompute, rebuild, verify, backup, history and corrections of a catalogue."""
