"""A calibration from a recorded tone of known volts."""

from __future__ import annotations

import calendar
import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from backbench.bench_day.classify_stimulus import Unknown, recognise
from backbench.bench_day.steady_stretch import WITHIN, steady_stretches
from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.settings import Calibration, Settings
from backbench.documents.toml_writing import block, table_of, with_tables
from backbench.documents.validation import read_checked
from backbench.errors import Fault, Refusal, UserError
from backbench.quantities.counts import counted
from backbench.quantities.writing import in_text
from backbench.readers.declaration import Recording
from backbench.readers.file_formats import read_recording
from backbench.signal.tone_search import find_tone
from backbench.signal.track import Track
from backbench.storage.catalogue_paths import places
from backbench.storage.settings_history import change_settings

LEAST_S = 0.4
EDGE_S = 0.05
"""Left out at each end of the stretch: the tone may still rise there."""
HALF = 0.5
"""Of the longest stretch: one of another level and this length may be the one that was read."""
LEAST_SHARE = 0.05
"""Of full scale: a fainter tone would make a poor calibration."""


@dataclass(frozen=True)
class Known:
    """What a meter showed while the tone was recorded.

    vrms: volts. uncertainty_percent: standard uncertainty (k = 1) of the meter.
    """

    vrms: float
    uncertainty_percent: float
    since: dt.date
    range: str | None = None
    good_until: dt.date | None = None


def calibrated(path: Path, known: Known, tracks: Sequence[int]) -> Calibration:
    """Volts at full scale of each track that recorded the tone. Raises UserError.

    Volts (peak) at full scale are the tone's volts over its level re full scale, both rms. The
    uncertainty is the meter's and the record's, squares added (GUM, 5.1.2). The tone is taken where
    it is steady longest: silence before and after, and clicks, do no harm.
    """
    recording = _steady(read_recording(path), path)
    recognised = recognise(recording.samples, recording.rate_hz, recording.bits)
    if isinstance(recognised, Unknown):
        raise _no_tone(path, recognised.reason)
    if recognised.kind != "tone":
        raise _no_tone(path, recognised.description)
    numbers = list(tracks) or list(range(1, recording.samples.shape[1] + 1))
    volts, worst, faults = {}, 0.0, []
    for n in numbers:
        try:
            if n > recording.samples.shape[1]:
                raise Refusal(f"a recording of {counted(recording.samples.shape[1], 'track')}")
            samples = np.ascontiguousarray(recording.samples[:, n - 1])
            track = Track(samples, recording.rate_hz, 1.0, 0.0, recording.bits)
            rms, relative = _fundamental(track, float(recognised.stimulus["tone_hz"]))
        except Refusal as refusal:
            faults.append(Fault(f"{path.name}, track {n}", str(refusal), "the calibration tone",
                                "name the tracks that carry it with --track"))  # fmt: skip
            continue
        volts[str(n)] = float(f"{known.vrms / rms:.6g}")
        worst = max(worst, relative)
    if faults:
        raise UserError("the calibration can't be worked out", faults)
    total = math.hypot(known.uncertainty_percent, 100 * worst)
    return Calibration(
        since=known.since, good_until=known.good_until, range=known.range,
        volts_peak_at_full_scale=volts, uncertainty_percent=float(f"{total:.3g}"),
    )  # fmt: skip


def _steady(recording: Recording, path: Path) -> Recording:
    """The recording's longest steady stretch: silence, clicks and changes of level left out.

    As it is where none is found. Raises UserError where two stretches of different levels could
    each be the one that was read on the meter.
    """
    stretches = steady_stretches(recording.samples, recording.rate_hz)
    if not stretches or stretches[0].last - stretches[0].first < LEAST_S * recording.rate_hz:
        return recording
    longest = stretches[0]
    length = longest.last - longest.first
    for other in stretches[1:]:
        alike = other.last - other.first > HALF * length
        if alike and abs(other.rms / longest.rms - 1) > WITHIN:
            raise UserError("the calibration can't be worked out", [Fault(
                path.name, "two steady tones of different levels, "
                f"at {in_text(longest.first / recording.rate_hz, 's', 3)} and "
                f"at {in_text(other.first / recording.rate_hz, 's', 3)}",
                "one tone of the level that the meter showed",
                "cut the other one off")])  # fmt: skip
    margin = round(EDGE_S * recording.rate_hz)
    first = longest.first + (margin if longest.first else 0)
    last = longest.last - (margin if longest.last < len(recording.samples) - margin else 0)
    return replace(recording, samples=recording.samples[first:last])


def _no_tone(path: Path, content: str) -> UserError:
    fault = Fault(path.name, content, "one steady tone")
    return UserError("the calibration can't be worked out", [fault])


def _fundamental(track: Track, hz: float) -> tuple[float, float]:
    """Rms of the fundamental re full scale and its relative uncertainty. Raises Refusal.

    Full scale is a peak, so that volts (rms) over this rms are volts (peak) at full scale.
    """
    fundamental = find_tone(track, hz, None).fundamental
    if fundamental.rms < LEAST_SHARE:
        raise Refusal(
            f"a tone of {in_text(100 * fundamental.rms, '%', 2)} of full scale, too faint to "
            "calibrate with"
        )
    return fundamental.rms, fundamental.relative


def months_after(day: dt.date, months: int) -> dt.date:
    """The same day so many months later; the month's last day where it has no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return dt.date(year, month + 1, min(day.day, last))


def entry_text(bench: str, calibration: Calibration) -> str:
    """The `[[bench.….calibration]]` of backbench.toml."""
    table = calibration.model_dump(exclude_none=True)
    return block(["bench", bench, "calibration"], table_of(table), repeated=True)


def saved(root: Path, bench: str, calibration: Calibration, settings: Settings) -> Path:
    """Add the entry to its bench in backbench.toml, checked as a whole before it is written.

    Raises UserError where the bench isn't there, or has one of this day and range already.
    """
    path = root / SETTINGS_NAME
    if bench not in settings.bench:
        fault = Fault(f"bench {bench!r}", "no such bench", f"a table [bench.{bench}] in {path}",
                      f"describe it with `backbench bench {bench}`")  # fmt: skip
        raise UserError("the calibration can't be saved", [fault])
    same = (calibration.since, calibration.range)
    if any((c.since, c.range) == same for c in settings.bench[bench].calibration):
        fault = Fault(str(path), f"a calibration of {same[0]} for this range",
                      "a calibration of another date",
                      "correct the existing calibration by hand")  # fmt: skip
        raise UserError("the calibration can't be saved", [fault])
    table = calibration.model_dump(exclude_none=True)
    before = path.read_text(encoding="utf-8-sig")
    text = with_tables(before, ["bench", bench, "calibration"], [table], str(path))
    read_checked(Settings, text.encode(), SETTINGS_NAME)
    change_settings(root, places(root).ledger.folder, text)
    return path
