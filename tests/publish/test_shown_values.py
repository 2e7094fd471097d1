"""Values, strips of peers, and file names."""

from __future__ import annotations

import re

from backbench.publish.peer_strips import EDGE, WIDTH, peer_strip
from backbench.publish.site_data import slug
from backbench.publish.value_text import share, years
from backbench.quantities.counts import counted
from backbench.quantities.sentences import first_few, listed, sentence


def test_a_strip_keeps_order_and_stays_inside() -> None:
    drawn = peer_strip([1.0, 2.0, 400.0], 20.0, 1.0, "W", None)
    assert drawn is not None
    assert drawn.logarithmic
    assert EDGE < drawn.low < drawn.x < drawn.high < WIDTH - EDGE
    assert (drawn.least, drawn.greatest) == ("1\u00a0W", "400\u00a0W")
    assert drawn.path.count("M") == 3


def test_a_strip_of_equal_values_and_of_none() -> None:
    same = peer_strip([0.0, 0.0], 0.0, None, "dB", None)
    assert same is not None
    assert same.x == WIDTH / 2
    assert not same.logarithmic
    assert peer_strip([], 1.0, 0.1, "W", None) is None


def test_lists_counts_and_shares() -> None:
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert listed([]) == ""
    assert first_few("abcdef", most=2) == "a, b and 4 more"
    assert counted(1, "unit") == "1 unit"
    assert counted(1200, "quantity", "quantities") == "1200 quantities"
    assert counted(20670, "reading") == "20 670 readings"
    assert share(0.9999) == "over 99\u00a0%"
    assert share(1e-9) == "under 1\u00a0%"
    assert share(0.5) == "50\u00a0%"
    assert years(1959, 1963) == "1959 to 1963"
    assert years(1961, 1961) == "1961"
    assert sentence("it is so") == "It is so."


def test_models_have_file_names_of_their_own() -> None:
    names = {slug("Ostrelune", "Halyard 20"), slug("Ostrelune Halyard", "20"),
             slug("שלום", "עולם"), slug("../..", "<script>")}  # fmt: skip
    assert len(names) == 4
    assert all(re.fullmatch(r"[a-z0-9-]+", name) for name in names)
