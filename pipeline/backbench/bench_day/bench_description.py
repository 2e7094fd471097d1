"""A bench described: its table in backbench.toml, written from answers."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from pathlib import Path

from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.settings import Settings
from backbench.documents.toml_writing import block, table_of
from backbench.documents.unit_facts import KEY
from backbench.documents.validation import read_checked
from backbench.errors import MISSING, Fault, UserError
from backbench.quantities.counts import counted
from backbench.quantities.writing import exact, in_text
from backbench.storage.catalogue_paths import places
from backbench.storage.settings_history import change_settings

MOST_PERCENT = 50.0


@dataclass(frozen=True)
class BenchDescription:
    """What a bench needs before its calibrations. Uncertainties: standard (k = 1), percent.

    generator_range: a name for the calibration of the generator's own output, where it plays
    files; None where its level is set by hand.
    """

    key: str | None = None
    load_percent: float | None = None
    generator_percent: float | None = None
    generator_range: str | None = None

    def command_line(self, catalogue: Path) -> str:
        """The command with all that is known, to be run again."""
        options = {
            "--load-uncertainty-percent": self.load_percent,
            "--generator-uncertainty-percent": self.generator_percent,
            "--generator-range": self.generator_range,
        }
        words = ["backbench", "bench", *([self.key] if self.key else [])]
        for option, value in options.items():
            words += (
                [option, exact(value, "1") if isinstance(value, float) else value] if value else []
            )
        if catalogue != Path():
            words += ["-c", str(catalogue)]
        return shlex.join(words)

    def faults(self, settings: Settings) -> list[Fault]:
        """Everything that is missing or can't be, all at once."""
        faults = []
        if self.key is None or not KEY.fullmatch(self.key):
            found = MISSING if self.key is None else repr(self.key)
            faults.append(Fault("the bench's key", found, "small letters, digits, '.', '-', '_'"))
        elif self.key in settings.bench:
            faults.append(Fault(f"bench {self.key!r}", "a bench that is described already",
                                "a new key", f"change its table in {SETTINGS_NAME}"))  # fmt: skip
        for option, value in (
            ("--load-uncertainty-percent", self.load_percent),
            ("--generator-uncertainty-percent", self.generator_percent),
        ):
            if value is None or not 0 < value <= MOST_PERCENT:
                found = MISSING if value is None else in_text(value, "%")
                faults.append(Fault(option, found, "above 0 and at most 50 %",
                                    "no default is assumed"))  # fmt: skip
        return faults


def bench_text(bench: BenchDescription) -> str:
    """The table as it stands in backbench.toml."""
    table = {
        "load_uncertainty_percent": bench.load_percent,
        "generator_uncertainty_percent": bench.generator_percent,
        "generator_range": bench.generator_range,
    }
    return block(["bench", str(bench.key)], table_of(table))


def describe_bench(root: Path, bench: BenchDescription, settings: Settings) -> Path:
    """Add the bench to backbench.toml. Raises UserError with everything that is wrong."""
    faults = bench.faults(settings)
    if faults:
        raise UserError(f"the bench can't be described: {counted(len(faults), 'fault')}", faults)
    path = root / SETTINGS_NAME
    text = f"{path.read_text(encoding='utf-8-sig').rstrip()}\n\n{bench_text(bench)}\n"
    read_checked(Settings, text.encode(), SETTINGS_NAME)
    change_settings(root, places(root).ledger.folder, text)
    return path
