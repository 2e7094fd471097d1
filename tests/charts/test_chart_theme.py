"""The palette, held against simulated colour vision deficiency and contrast rules.

Matrices: Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation of
Color Vision Deficiency" (IEEE TVCG 15(6), 2009), severity 1.0; digits from memory, checked
here by each row adding up to 1 (white stays white). They apply to linear RGB.
Colour difference: CIE 1976 L*a*b*, D65. Contrast: relative luminance as in WCAG 2, which asks
for 3:1 for graphical objects and 4.5:1 for text (from memory).
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from backbench.charts import theme
from seen_colours import LEAST_DISTANCE, MATRICES, contrast, lab, linear


def test_white_and_black_are_where_the_standard_puts_them() -> None:
    assert lab(linear("#ffffff")) == pytest.approx([100, 0, 0], abs=0.02)
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0, abs=1e-5)


@pytest.mark.parametrize("kind", MATRICES)
def test_simulation_leaves_greys_alone(kind: str) -> None:
    assert MATRICES[kind].sum(axis=1) == pytest.approx([1, 1, 1], abs=2e-6)


@pytest.mark.parametrize("kind", MATRICES)
def test_technologies_and_the_strong_mark_stay_apart(kind: str) -> None:
    colours = [look.colour for look in theme.LOOKS.values()] + [theme.INK]
    seen = [lab(MATRICES[kind] @ linear(colour)) for colour in colours]
    distances = [float(np.linalg.norm(a - b)) for a, b in itertools.combinations(seen, 2)]
    assert min(distances) > LEAST_DISTANCE


def test_the_check_finds_a_palette_that_fails() -> None:
    red, green = "#c8503c", "#8a8a32"
    seen = [lab(MATRICES["deuteranopia"] @ linear(colour)) for colour in (red, green)]
    assert float(np.linalg.norm(seen[0] - seen[1])) < LEAST_DISTANCE
    seen = [lab(linear(colour)) for colour in (red, green)]
    assert float(np.linalg.norm(seen[0] - seen[1])) > LEAST_DISTANCE


def test_marks_and_text_stand_out_from_the_paper() -> None:
    assert all(contrast(look.colour) > 3 for look in theme.LOOKS.values())
    assert contrast(theme.INK) > 12
    assert contrast(theme.SOFT_INK) > 4.5


def test_no_two_technologies_share_a_shape_or_dashes() -> None:
    looks = [*theme.LOOKS.values(), theme.UNSTATED]
    assert len({look.shape for look in looks}) == len(looks)
    assert len({tuple(look.dash) for look in looks}) == len(looks)


def test_technologies_keep_one_order_and_strangers_come_last() -> None:
    assert theme.in_order(["switching", "tube", None, "fluidic"]) == [
        "tube",
        "switching",
        "fluidic",
        "not stated",
    ]
