"""How well a colour stands out from what it lies on.

Contrast of relative luminances as in WCAG 2 (from memory): 1 for none, 21 for black on white.
"""

from __future__ import annotations

LUMINANCE = (0.2126, 0.7152, 0.0722)


def contrast(colour: str, ground: str) -> float:
    """The ratio of relative luminances of two colours such as "#1f5d99", 1 to 21."""
    dark, light = sorted((_luminance(colour), _luminance(ground)))
    return (light + 0.05) / (dark + 0.05)


def blended(colour: str, ground: str, share: float) -> str:
    """A colour that covers its ground by a share of 0 to 1, as it is seen."""
    mixed = (share * a + (1 - share) * b
             for a, b in zip(_parts(colour), _parts(ground), strict=True))  # fmt: skip
    return "#" + "".join(f"{round(255 * part):02x}" for part in mixed)


def _parts(colour: str) -> list[float]:
    return [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]


def _luminance(colour: str) -> float:
    linear = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in _parts(colour))
    return sum(weight * v for weight, v in zip(LUMINANCE, linear, strict=True))
