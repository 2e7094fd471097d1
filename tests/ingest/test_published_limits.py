"""Published limits: in the metric's unit, or refused with what to write instead."""

from __future__ import annotations

import pytest

from backbench.documents.manifest import read_manifest
from backbench.documents.specifications import limit_value
from backbench.documents.unit_facts import PublishedConditions, PublishedFigure
from backbench.ingest.published_figures import published_faults
from backbench.metrics.registry import registry
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.units import UNITS

MANIFEST = """
[review]
key = "2024-05-heron"
date = 2024-05-11
bench = "bench"
mains_hz = 50
[[unit]]
key = "heron-40"
maker = "Marrowgate"
model = "Heron 40"
kind = "integrated amplifier"
technology = "tube"
state = "as received"
[[unit.published]]
metric = "{metric}"
{limit}
printed_in = "leaflet"
"""


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        ('at_least = "1,000 W"', "write 1 W or 1000 W"),
        ('at_least = "20.000 W"', "write 20 W or 20000 W"),
        ('at_least = "1e400 W"', "out of the range"), ('at_least = "5 apples"', "apples"),
        ('at_least = "< 15 W"', "contradicts 'at least'"), ('at_least = "15"', "has no unit"),
        ('at_least = "1 000 W"', None), ('at_least = "≥ 15,5 W"', None),
        ('at_least = "15 W"', None),
    ],
)  # fmt: skip
def test_a_limit_has_one_reading_or_is_a_fault(limit: str, words: str | None) -> None:
    manifest = read_manifest(MANIFEST.format(metric="power_at_limit", limit=limit).encode())
    faults = [str(fault) for fault in published_faults(manifest)]
    assert (words is None) == (not faults)
    assert words is None or words in faults[0]


def test_limits_in_the_metrics_unit() -> None:
    def read(unit: str, **sides: object) -> float:
        return limit_value(
            PublishedFigure.model_validate({"metric": "m", "printed_in": "p", **sides}), unit
        )

    assert read("V", at_most="0.5 mV") == 0.0005
    assert read("%", at_most="-40 dB") == pytest.approx(1.0)
    assert read("W", at_least="1 000 W") == 1000.0
    assert read("W", at_least="4 V", at=PublishedConditions(load_ohm=8.0)) == pytest.approx(2.0)
    with pytest.raises(UnreadableQuantity, match=r"more than 10.000 %"):
        read("%", at_most="99 dB")


def test_every_metric_has_a_unit_that_is_read_and_bounded() -> None:
    assert {metric.unit for metric in registry().metrics.values()} <= UNITS.keys()


@pytest.mark.parametrize(
    ("load", "kept"), [('"16 R"', 16.0), ('"8 ohm"', 8.0), ('"high"', "open"), ("8", 8.0)]
)
def test_loads_and_powers_may_have_their_units(load: str, kept: object) -> None:
    more = f'[conditions]\nload_ohm = {load}\npower_w = "1,5 W"\n'
    text = MANIFEST.format(metric="power_at_limit", limit='at_least = "15 W"').replace(
        "[[unit]]", f"{more}[[unit]]", 1
    )
    conditions = read_manifest(text.encode()).conditions
    assert (conditions.load_ohm, conditions.power_w) == (kept, 1.5)
