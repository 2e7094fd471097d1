"""Names of capture files, as a plan gives them."""

from __future__ import annotations


def number_in_name(value: float) -> str:
    """A number for a file's name: 12.5 becomes "12p5", 10000 "10k"."""
    text = f"{value / 1000:.3g}k" if value >= 1000 else f"{value:.3g}"
    return text.replace(".", "p")


def tone_file(hz: float, power_w: float, load_ohm: float) -> str:
    """tone-1k-5w-8ohm.wav"""
    return f"tone-{number_in_name(hz)}-{number_in_name(power_w)}w-{number_in_name(load_ohm)}ohm.wav"
