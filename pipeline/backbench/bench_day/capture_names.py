"""Names of capture files, as a plan gives them."""

from __future__ import annotations


def named(value: float) -> str:
    """A number for a file's name: 12.5 becomes "12p5"."""
    return f"{value:.3g}".replace(".", "p")


def tone_file(hz: float, power_w: float, load_ohm: float) -> str:
    """tone-1k-5w-8ohm.wav"""
    frequency = f"{named(hz / 1000)}k" if hz >= 1000 else named(hz)
    return f"tone-{frequency}-{named(power_w)}w-{named(load_ohm)}ohm.wav"
