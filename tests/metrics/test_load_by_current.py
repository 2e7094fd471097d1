"""The load as voltage and current tracks give it, against the stated one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from backbench.documents.manifest import Conditions, TrackRole
from backbench.documents.stimuli import Tone
from backbench.ingest.analyse import _recorded
from backbench.ingest.analysis_plan import Job, Source
from backbench.metrics.declaration import CaptureData
from backbench.metrics.parts_in_time import part_of
from tones import figures, reasons, sines, tone_material, track

RATE = 48_000.0


def capture(ohm: float, stated: float | str, volts: float = 4.0) -> CaptureData:
    """A tone of 997 Hz across a resistor, with a track of its current (Ohm's law)."""
    rng = np.random.default_rng(7)
    tone = sines(RATE, 1.0, {997.0: volts, 1994.0: 1e-3 * volts})
    heard = track(tone + 1e-5 * rng.normal(size=len(tone)))
    amperes = track(tone / ohm + 1e-6 * rng.normal(size=len(tone)))
    taken = tone_material(heard, hz=997.0, conditions=Conditions(load_ohm=stated))
    return replace(taken, currents={1: amperes})


@pytest.mark.parametrize("ohm", [7.0, 8.0, 9.0])
def test_a_load_near_the_stated_one_says_nothing(ohm: float) -> None:
    result = figures(capture(ohm, 8.0))
    assert result["level"].remark is None
    assert result["output_power"].value == pytest.approx(1.0, rel=1e-4)


def test_from_1_db_a_warning_and_from_2_db_a_refusal() -> None:
    """Closed form: 10 lg(6 / 8) = -1.25 dB, 10 lg(4 / 8) = -3.01 dB."""
    remark = figures(capture(6.0, 8.0))["output_power"].remark or ""
    assert remark.startswith("warning: 8 Ω is stated, but 2.828 V with 471.4 mA is 6 Ω (-1.2 dB)")
    for metric in ("level", "output_power", "thd"):
        status, reason = reasons(capture(4.0, 8.0))[metric]
        assert (status, "is 4 Ω (-3 dB)" in reason) == ("rejected", True)


def test_a_load_where_none_is_stated_is_refused() -> None:
    assert "an open output is stated" in reasons(capture(8.0, "open"))["level"][1]
    assert "level" in figures(capture(1e5, "open"))


def test_a_current_track_without_a_tone_warns_that_nothing_was_checked() -> None:
    silent = replace(capture(8.0, 8.0), currents={1: track(np.zeros(int(RATE)))})
    assert "the load couldn't be checked by its current" in (figures(silent)["level"].remark or "")


def test_a_part_in_time_has_its_part_of_the_current() -> None:
    part = part_of(capture(8.0, 8.0), 0.25, 0.5)
    assert len(part.currents[1].volts) == len(part.outputs[1].volts)
    assert "level" in figures(part)


def test_volts_of_the_probe_become_amperes_of_its_output() -> None:
    roles = {
        1: TrackRole(unit="heron", output="left"),
        2: TrackRole(unit="heron", output="right"),
        3: TrackRole(unit="heron", current="right", volts_per_ampere=0.1),
    }
    job = Job(
        "r", 1, Source(Path("a.flac"), "a.flac", "0" * 64, None), None,
        Tone(tone_hz=997.0, generator_vrms="unknown"), Conditions(load_ohm=8.0), roles,
        loop_back=False, mains_hz=50.0, load_uncertainty=0.0, generator_uncertainty=0.0,
    )  # fmt: skip
    tracks = {n: track(sines(RATE, 0.3, {997.0: 0.1 * n})) for n in (1, 2, 3)}
    taken = _recorded(job, None, (), tracks)
    assert list(taken.outputs) == [1, 2]
    assert list(taken.currents) == [2]
    assert taken.currents[2].volts == pytest.approx(10 * tracks[3].volts)
