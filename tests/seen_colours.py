"""Colours as they are seen: simulated colour vision deficiency, distance and contrast.

Matrices: Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation of
Color Vision Deficiency" (IEEE TVCG 15(6), 2009), severity 1.0; digits from memory, checked in
test_chart_theme.py. Colour difference: CIE 1976 L*a*b*, D65. Contrast: relative luminance as in
WCAG 2 (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backbench.charts import theme

MATRICES = {
    "none": np.eye(3),
    "protanopia": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deuteranopia": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritanopia": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}
TO_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
WHITE = np.array([0.95047, 1.0, 1.08883])
LEAST_DISTANCE = 20.0


def linear(colour: str) -> NDArray[np.float64]:
    values = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def lab(rgb: NDArray[np.float64]) -> NDArray[np.float64]:
    ratio = TO_XYZ @ np.clip(rgb, 0, 1) / WHITE
    bent = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return np.array([116 * bent[1] - 16, 500 * (bent[0] - bent[1]), 200 * (bent[1] - bent[2])])


def contrast(colour: str, ground: str = theme.PAPER) -> float:
    dark, light = sorted(float(TO_XYZ[1] @ linear(c)) for c in (colour, ground))
    return (light + 0.05) / (dark + 0.05)
