"""Names of capture files, as a plan gives them."""

from __future__ import annotations


def number_in_name(value: float) -> str:
    """A number for a file's name: 12.5 becomes "12p5"."""
    return f"{value:.3g}".replace(".", "p")


def tone_file(hz: float, power_w: float, load_ohm: float) -> str:
    """tone-1k-5w-8ohm.wav"""
    frequency = f"{number_in_name(hz / 1000)}k" if hz >= 1000 else number_in_name(hz)
    return f"tone-{frequency}-{number_in_name(power_w)}w-{number_in_name(load_ohm)}ohm.wav"
