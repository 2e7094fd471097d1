"""An oscilloscope's trace in a manifest: what it must say, and that it is no recording."""

from __future__ import annotations

import pytest

from backbench.documents.manifest import read_manifest
from backbench.documents.stimuli import Table, analysis_kind, frequency_of
from backbench.errors import UserError

HEAD = """
[review]
key = "r"
date = 2024-05-11
bench = "garage"
mains_hz = 50
[[unit]]
key = "amp"
maker = "Marrowgate"
model = "Heron"
kind = "preamplifier"
technology = "tube"
state = "serviced"
"""
COLUMNS = '{ time = { name = "t", unit = "s" }, voltage = { name = "v", unit = "V" } }'


def manifest(stimulus: str) -> str:
    own = f'file = "t.csv"\nstimulus = {{ {stimulus}, columns = {COLUMNS} }}\n'
    return f'{HEAD}\n[[capture]]\n{own}of = {{ unit = "amp", output = "left" }}\n'


def test_a_trace_says_the_frequency_of_its_square_wave() -> None:
    text = manifest('table = "trace", square_hz = 10000, probe_rise_time_s = 4e-9')
    (capture,) = read_manifest(text.encode()).capture
    assert isinstance(capture.stimulus, Table)
    assert analysis_kind(capture.stimulus) == "trace table"
    assert frequency_of(capture.stimulus) == 10_000.0


@pytest.mark.parametrize(
    ("stimulus", "kind"),
    [
        ("tone_hz = 1000", "tone trace table"),
        ("burst_hz = 1000, on_ms = 20, period_ms = 50", "burst trace table"),
        ('ripple = "reservoir"', "ripple trace table"),
    ],
)
def test_what_a_trace_shows_is_its_kind(stimulus: str, kind: str) -> None:
    (capture,) = read_manifest(manifest(f'table = "trace", {stimulus}').encode()).capture
    assert analysis_kind(capture.stimulus) == kind


@pytest.mark.parametrize(
    ("stimulus", "message"),
    [
        ('table = "trace"', "a trace without what it shows"),
        ('table = "trace", tone_hz = 1000, square_hz = 1000', "several things"),
        ('table = "response", square_hz = 1000', "only with a trace"),
        ('table = "response", tone_hz = 1000', "only with a trace"),
        ('table = "trace", tone_hz = 1000, rise_time_s = 1e-6', "rise times only with square_hz"),
        ('table = "trace", burst_hz = 1000, on_ms = 20', "belong together"),
        ('table = "trace", sweep_hz = [10, 20]', "exactly one of the keys"),
    ],
)
def test_what_a_trace_lacks_is_asked_for(stimulus: str, message: str) -> None:
    with pytest.raises(UserError, match=message):
        read_manifest(manifest(stimulus).encode())


@pytest.mark.parametrize(
    ("stimulus", "message"),
    [
        ('table = "harmonics"', "no tone_hz"),
        ('table = "distortion"', "no frequency"),
        ('table = "distortion", square_hz = 1000', "only with a trace"),
    ],
)
def test_tables_of_a_tone_say_its_frequency(stimulus: str, message: str) -> None:
    with pytest.raises(UserError, match=message):
        read_manifest(manifest(stimulus).encode())
    named = manifest('table = "spectrum", tone_hz = 1000')
    assert frequency_of(read_manifest(named.encode()).capture[0].stimulus) == 1000.0


def test_one_file_may_hold_the_columns_of_several_outputs() -> None:
    own = manifest('table = "trace", tone_hz = 1000')
    other = own[own.index("[[capture]]") :].replace('"left"', '"right"').replace('"v"', '"w"')
    assert [c.of.output for c in read_manifest((own + other).encode()).capture if c.of] == [
        "left", "right",
    ]  # fmt: skip
    same = own[own.index("[[capture]]") :]
    with pytest.raises(UserError, match="twice"):
        read_manifest((own + same).encode())


def test_columns_by_number_and_a_raw_layout_are_whole_numbers() -> None:
    named = 'table = "trace", tone_hz = 1000, raw = { type = "int16", order = "big", columns = 2 }'
    text = manifest(named).replace('name = "v"', "number = 2").replace('name = "t"', "number = 1")
    stimulus = read_manifest(text.encode()).capture[0].stimulus
    assert isinstance(stimulus, Table)
    assert stimulus.columns["voltage"].number == 2
    assert stimulus.raw is not None
    assert (stimulus.raw.columns, stimulus.raw.skip_bytes) == (2, 0)
