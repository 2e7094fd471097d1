"""A second session is planned by what it teaches of the spread between sessions."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from backbench.bench_day.planned_capture import Plan, PlannedStep
from backbench.bench_day.repeat_steps import repeat_plan
from backbench.documents.manifest import Conditions, Manifest
from backbench.errors import UserError
from backbench.storage.database import reading

TONE = {"tone_hz": 997.0, "generator_vrms": 1.0}
IDLE = {"idle": "input shorted"}


def step(file: str, stimulus: dict[str, Any], **more: Any) -> PlannedStep:
    loaded = Conditions(load_ohm=8.0)
    return PlannedStep(file=file, stimulus=stimulus, conditions=loaded, why="usual", **more)


MADE = Plan(review="again", step=[
    step("loop-back-1k.wav", TONE, loop_back=True),
    step("loop-back-20.wav", {"tone_hz": 23.0, "generator_vrms": 1.0}, loop_back=True),
    step("idle.wav", IDLE),
    step("tone-1k-1w.wav", TONE, power_w=1.0),
    step("tone-1k-5w.wav", TONE, power_w=5.0),
    step("square.wav", {"square_hz": 1000.0, "generator_vpp": 1.0}),
])  # fmt: skip


def review(state: str = "as received", key: str = "a") -> Manifest:
    unit = {
        "key": key, "maker": "Ostrova", "model": "A", "kind": "integrated amplifier",
        "technology": "tube", "state": state,
    }  # fmt: skip
    return Manifest.model_validate({
        "review": {"key": "again", "date": dt.date(2024, 1, 1), "bench": "b1", "mains_hz": 50},
        "unit": [unit],
    })  # fmt: skip


def catalogue(given: Any, *, noise_again: int = 0) -> Path:
    """Noise hangs on the session, distortion as much on its record; noise of other units was
    measured again so many times."""
    given.between_sessions = True
    given.unit("a")
    given.reading("a", "noise_a", 1e-4, 1e-7, under="idle", estimation=1e-7)
    given.reading("a", "thd", 0.5, 0.025, power_w=5.0, estimation=0.025)
    for n in range(noise_again):
        for session in range(2):
            given.review(f"r{n}-{session}", f"20{10 + session}-01-01")
            given.unit(f"u{n}", f"r{n}-{session}")
            given.capture(f"r{n}-{session}", 1)
            given.reading(f"u{n}", "noise_a", 1e-4 * (1 + 0.05 * session), 1e-7, under="idle",
                          estimation=1e-7, review=f"r{n}-{session}")  # fmt: skip
    folder: Path = given.build()
    return folder


def chosen(folder: Path, manifest: Manifest) -> list[PlannedStep]:
    with reading(folder) as store:
        return repeat_plan(store, manifest, MADE).step


def test_what_hangs_on_the_session_comes_first(given: Any) -> None:
    steps = chosen(catalogue(given), review())
    assert [s.file for s in steps] == ["loop-back-1k.wav", "idle.wav", "tone-1k-5w.wav"]
    assert steps[1].why.endswith("noise a between sessions: only a default is known")


def test_what_is_known_well_comes_later(given: Any) -> None:
    """With 12 sessions more of noise, those of distortion teach more."""
    steps = chosen(catalogue(given, noise_again=12), review())
    assert [s.file for s in steps] == ["loop-back-1k.wav", "tone-1k-5w.wav", "idle.wav"]
    assert steps[-1].why.endswith("little known")


@pytest.mark.parametrize(
    ("manifest", "why"),
    [(review("restored"), "before-after"), (review(key="b"), "not in the catalogue")],
)
def test_no_repeat_after_work_or_of_an_unknown_unit(
    given: Any, manifest: Manifest, why: str
) -> None:
    with pytest.raises(UserError, match=why):
        chosen(catalogue(given), manifest)
