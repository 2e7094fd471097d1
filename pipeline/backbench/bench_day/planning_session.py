"""What is on the bench, as the battery of captures is drawn up from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from backbench.bench_day.bench_limits import crest
from backbench.bench_day.measuring_chain import Chain, volts_of
from backbench.bench_day.planned_capture import PlannedStep
from backbench.bench_day.record_length import record_s
from backbench.documents.kinds import Battery
from backbench.documents.manifest import Conditions, Manifest, TrackRole
from backbench.documents.stimuli import Idle, Stimulus

Load = float | str | None
APART = 1.1
"""Loads whose ratio is smaller tell no output impedance."""


@dataclass(frozen=True)
class PlanningSession:
    """loads: ohm, the nominal one first; empty for line stages. rate_hz: of the recordings."""

    manifest: Manifest
    chain: Chain
    rated_w: float
    loads: tuple[float, ...]
    battery: Battery
    rate_hz: float

    @property
    def recorded(self) -> bool:
        """Whether a track records the generator."""
        return any(role.generator for role in self.manifest.tracks.values())

    @property
    def transformers(self) -> bool:
        """Whether an output transformer must be reckoned with, so that no output runs open."""
        return any(
            unit.technology in {"tube", "hybrid"} and "transformerless" not in (unit.topology or "")
            for unit in self.manifest.unit
        )

    @property
    def outputs(self) -> list[str]:
        """Outputs in the order of their tracks."""
        roles = sorted(self.manifest.tracks.items())
        return [role.output for _, role in roles if role.output]

    @property
    def other_loads(self) -> tuple[float, ...]:
        """Loads beside the nominal one, each far enough from those before it to tell them apart."""
        apart: list[float] = list(self.loads[:1])
        for load in self.loads[1:]:
            if all(max(load / one, one / load) >= APART for one in apart):
                apart.append(load)
        return tuple(apart[1:])

    @property
    def is_pair(self) -> bool:
        return len(self.manifest.unit) > 1

    def powered(
        self, file: str, power_w: float, load: float, make: Any, why: str, **own: Any
    ) -> PlannedStep:
        """A step whose output power into a load is foretold. make: level to stimulus."""
        volts = volts_of(power_w, load)
        return self.at(file, volts, load, make, why, power_w=power_w, **own)

    def at(
        self, file: str, volts: float, load: Load, make: Any, why: str,
        *, power_w: float | None = None, driven: str | None = None,
    ) -> PlannedStep:  # fmt: skip
        """A step with foretold volts (rms) at the output."""
        stimulus: Stimulus = make(self.chain.level(volts, load))
        return PlannedStep(
            file=file, stimulus=stimulus,
            conditions=self._own(load, volts * crest(stimulus), driven),
            out_vrms=float(f"{volts:.4g}"), power_w=power_w and float(f"{power_w:.4g}"),
            record_s=record_s(stimulus), why=why,
        )  # fmt: skip

    def played_at(
        self, file: str, level_v: float, load: Load, make: Any, why: str,
        *, curve: float = 1.0, driven: str | None = None,
    ) -> PlannedStep:  # fmt: skip
        """A step of stated generator volts (rms). curve: the gain there re that of 1 kHz."""
        gain = self.chain.gain
        volts = gain and float(f"{gain * curve * level_v:.4g}")
        stimulus: Stimulus = make(float(f"{level_v:.3g}"))
        step = self.set_to(file, stimulus, load, why, volts=volts or 0.0, driven=driven)
        return step.model_copy(update={"out_vrms": volts})

    def set_to(
        self, file: str, stimulus: Stimulus, load: Load, why: str,
        *, volts: float = 0.0, driven: str | None = None,
    ) -> PlannedStep:  # fmt: skip
        """A step that foretells no output. volts: rms, for which the input range is chosen."""
        return PlannedStep(
            file=file, stimulus=stimulus,
            conditions=self._own(load, volts * crest(stimulus), driven),
            record_s=record_s(stimulus), why=why,
        )  # fmt: skip

    def idle(self, load: Load, terminated: str = "input shorted") -> PlannedStep:
        stimulus = Idle(idle=terminated)
        return PlannedStep(
            file="idle.wav", stimulus=stimulus, record_s=record_s(stimulus),
            conditions=self._own(load, 0.0, None), why="residual noise and hum",
        )  # fmt: skip

    def bench_alone(
        self, file: str, stimulus: Stimulus, volts: float, range_name: str | None, why: str
    ) -> PlannedStep:
        """A loop-back: the generator straight into the recorder. volts: rms, 0 for none."""
        roles = {
            n: TrackRole(output=role.output) if role.output else role
            for n, role in self.manifest.tracks.items()
            if role.current is None
        }
        return PlannedStep(
            file=file, stimulus=stimulus, tracks=roles, loop_back=True, why=why,
            out_vrms=volts or None, record_s=record_s(stimulus),
            conditions=Conditions(range=range_name) if range_name else Conditions(),
        )  # fmt: skip

    def _own(self, load: Load, peak_v: float, driven: str | None) -> Conditions:
        """Conditions of a capture, as far as they differ from those of the review."""
        usual = self.manifest.conditions
        own: dict[str, Any] = {"range": self.chain.range_for(peak_v), "driven": driven}
        if load != usual.load_ohm:
            own["load_ohm"] = load
        return Conditions(**{key: value for key, value in own.items() if value is not None})
