"""What a calibration is to be worked out from, as far as it was stated."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from pathlib import Path

from backbench.documents.settings import Settings
from backbench.errors import MISSING, Fault, UserError, did_you_mean
from backbench.quantities.counts import counted
from backbench.quantities.writing import exact, in_text

MOST_PERCENT = 100.0


@dataclass(frozen=True)
class CalibrationRequest:
    """The recording and what is known of it; None for what isn't yet.

    volts: rms, on the meter. meter_percent: standard uncertainty (k = 1) of the meter. since: the
    day as written; None for today.
    """

    recording: Path
    catalogue: Path
    volts: float | None = None
    meter_percent: float | None = None
    bench: str | None = None
    input_range: str | None = None
    since: str | None = None
    tracks: tuple[int, ...] = ()
    good_for_months: int | None = None
    save: bool = False

    def command_line(self) -> str:
        """The command with all that is known, to be run again."""
        options = {
            "--volts": None if self.volts is None else exact(self.volts, "1"),
            "--meter-uncertainty-percent":
                None if self.meter_percent is None else exact(self.meter_percent, "1"),
            "--bench": self.bench, "--range": self.input_range, "--date": self.since,
            "--good-for-months": self.good_for_months,
        }  # fmt: skip
        words = ["backbench", "calibrate", str(self.recording)]
        for option, value in options.items():
            words += [] if value is None else [option, str(value)]
        for track in self.tracks:
            words += ["--track", str(track)]
        words += ["--save"] * self.save
        if self.catalogue != Path():
            words += ["-c", str(self.catalogue)]
        return shlex.join(words)

    def check(self, settings: Settings) -> None:
        """Raises UserError with everything that is missing or can't be, all at once."""
        faults = [*self._levels(), *self._bench(settings)]
        if faults:
            title = f"the calibration can't be worked out: {counted(len(faults), 'fault')}"
            raise UserError(title, faults)

    def _levels(self) -> list[Fault]:
        faults = []
        if self.volts is None or self.volts <= 0:
            found = MISSING if self.volts is None else in_text(self.volts, "V")
            faults.append(Fault("--volts", found, "volts (rms) of the tone, above 0",
                                "measure it with a calibrated meter while it plays"))  # fmt: skip
        if self.meter_percent is None or not 0 <= self.meter_percent <= MOST_PERCENT:
            found = MISSING if self.meter_percent is None else in_text(self.meter_percent, "%")
            faults.append(Fault("--meter-uncertainty-percent", found, "0 to 100 %",
                                "no default is assumed; the meter's manual states it"))  # fmt: skip
        return faults

    def _bench(self, settings: Settings) -> list[Fault]:
        if self.bench is not None and self.bench in settings.bench:
            return []
        benches = sorted(settings.bench)
        expected = f"one of: {', '.join(benches)}" if benches else "a bench of backbench.toml"
        remedy = f"describe it with `backbench bench {self.bench or 'BENCH'}`"
        found = MISSING if self.bench is None else repr(self.bench)
        if benches:
            remedy = did_you_mean(self.bench or "", benches, remedy)
        return [Fault("--bench", found, expected, remedy)]


def known_ranges(settings: Settings, bench: str) -> list[str]:
    """The names of a bench's ranges: those calibrated before, and its generator's."""
    described = settings.bench[bench]
    names = [entry.range for entry in described.calibration] + [described.generator_range]
    return list(dict.fromkeys(name for name in names if name))
