"""What is on the bench, as the battery of captures is drawn up from it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from backbench.bench_day.measuring_chain import Chain, volts_of
from backbench.bench_day.planned_capture import PlannedStep
from backbench.documents.kinds import Battery
from backbench.documents.manifest import Conditions, Manifest, TrackRole
from backbench.documents.stimuli import Idle, Stimulus

Load = float | str | None


@dataclass(frozen=True)
class PlanningSession:
    """loads: ohm, the nominal one first; empty for line stages."""

    manifest: Manifest
    chain: Chain
    rated_w: float
    loads: tuple[float, ...]
    battery: Battery

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
        *, power_w: float | None = None, crest: float = math.sqrt(2), driven: str | None = None,
    ) -> PlannedStep:  # fmt: skip
        """A step with foretold volts (rms) at the output. crest: peak over rms of the stimulus."""
        stimulus: Stimulus = make(self.chain.level(volts))
        return PlannedStep(
            file=file, stimulus=stimulus, conditions=self._own(load, volts * crest, driven),
            out_vrms=float(f"{volts:.4g}"), power_w=power_w and float(f"{power_w:.4g}"), why=why,
        )  # fmt: skip

    def idle(self, load: Load) -> PlannedStep:
        return PlannedStep(
            file="idle.wav", stimulus=Idle(idle="input shorted"),
            conditions=self._own(load, 0.0, None), why="residual noise and hum",
        )  # fmt: skip

    def bench_alone(self, file: str, stimulus: Stimulus, volts: float, why: str) -> PlannedStep:
        """A loop-back: the generator straight into the recorder."""
        roles = {
            n: TrackRole(output=role.output) if role.output else role
            for n, role in self.manifest.tracks.items()
            if role.current is None
        }
        held = self.chain.range_for(volts * math.sqrt(2))
        return PlannedStep(
            file=file, stimulus=stimulus, tracks=roles, loop_back=True, why=why,
            conditions=Conditions(range=held) if held else Conditions(),
        )  # fmt: skip

    def _own(self, load: Load, peak_v: float, driven: str | None) -> Conditions:
        """Conditions of a capture, as far as they differ from those of the review."""
        usual = self.manifest.conditions
        own: dict[str, Any] = {"range": self.chain.range_for(peak_v), "driven": driven}
        if load != usual.load_ohm:
            own["load_ohm"] = load
        return Conditions(**{key: value for key, value in own.items() if value is not None})
