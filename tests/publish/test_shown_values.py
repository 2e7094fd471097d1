"""Values, strips of peers, and file names."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.publish.peer_strips import EDGE, WIDTH, strip
from backbench.publish.site_data import slug
from backbench.publish.value_text import few, listed, measured, sentence, share, years
from backbench.quantities.counts import counted


@pytest.mark.parametrize(
    ("value", "u", "unit", "bound", "told"),
    [
        (14.5752, 0.1375, "W", None, "14.58 W ± 0.28 W"),
        (2.13e-5, 3e-7, "V", None, "21.30 µV ± 0.60 µV"),
        (0.2159521, 4.8e-5, "%", None, "0.2160 % ± 0.0001 %"),
        (10.4284, 0.0, "Hz", "upper", "≤ 10.4 Hz"),
        (22.5, 0.2, "W", "lower", "≥ 22.5 W"),
        (-0.3268, 0.0491, "dB", None, "−0.327 dB ± 0.099 dB"),
        (10.929, 0.0546, "1", None, "10.93 ± 0.11"),
        (-1e-9, 2e-6, "V", None, "0.0 µV ± 4.0 µV"),
        (3.2, None, "V", None, "3.2 V"),
        (None, None, "V", None, ""),
    ],
)
def test_a_value_is_rounded_to_its_uncertainty(
    value: float | None, u: float | None, unit: str, bound: str | None, told: str
) -> None:
    assert measured(value, u, unit, bound) == told


@given(
    st.floats(1e-9, 1e9) | st.floats(-1e9, -1e-9), st.floats(1e-12, 1e9),
    st.sampled_from(["V", "W", "dB", "%", "1", "ohm"]),
)  # fmt: skip
def test_an_uncertainty_is_never_shown_smaller_than_it_is(
    value: float, u: float, unit: str
) -> None:
    told = measured(value, u, unit)
    found = re.search(r"± ([0-9,.]+) ?([pnµmkMG]?)", told)
    assert found, told
    scale = {"p": 1e-12, "n": 1e-9, "µ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}
    prefix = found[2] if unit in ("V", "W", "ohm") else ""
    assert float(found[1].replace(",", "")) * scale[prefix] >= 2 * u * (1 - 1e-6)


def test_a_strip_keeps_order_and_stays_inside() -> None:
    drawn = strip([1.0, 2.0, 400.0], 20.0, 1.0, "W", None)
    assert drawn is not None
    assert drawn.logarithmic
    assert EDGE < drawn.low < drawn.x < drawn.high < WIDTH - EDGE
    assert (drawn.least, drawn.greatest) == ("1 W", "400 W")
    assert drawn.path.count("M") == 3


def test_a_strip_of_equal_values_and_of_none() -> None:
    same = strip([0.0, 0.0], 0.0, None, "dB", None)
    assert same is not None
    assert same.x == WIDTH / 2
    assert not same.logarithmic
    assert strip([], 1.0, 0.1, "W", None) is None


def test_lists_counts_and_shares() -> None:
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert listed([]) == ""
    assert few("abcdef", most=2) == "a, b and 4 more"
    assert counted(1, "unit") == "1 unit"
    assert counted(1200, "quantity", "quantities") == "1,200 quantities"
    assert share(0.9999) == "over 99 %"
    assert share(1e-9) == "under 1 %"
    assert share(0.5) == "50 %"
    assert years(1959, 1963) == "1959 to 1963"
    assert years(1961, 1961) == "1961"
    assert sentence("it is so") == "It is so."


def test_models_have_file_names_of_their_own() -> None:
    names = {slug("Ostrelune", "Halyard 20"), slug("Ostrelune Halyard", "20"),
             slug("שלום", "עולם"), slug("../..", "<script>")}  # fmt: skip
    assert len(names) == 4
    assert all(re.fullmatch(r"[a-z0-9-]+", name) for name in names)
