"""A tuner from a table of audio level, noise and distortion against the RF level."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.documents.stimuli import Table
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declaration import (
    Bound,
    CaptureData,
    CurveData,
    MeasuredValue,
    curve,
    metric,
    view,
)
from backbench.metrics.table_uncertainty import column_u
from backbench.metrics.traits import OF_RF_LEVELS, Traits
from backbench.quantities.writing import in_text
from backbench.signal.settling import settles_at
from backbench.signal.track import Array
from backbench.signal.uncertainty import DB_PER_RELATIVE

FAMILY = "Tuner"

FEMTOWATT = 1e-15
USABLE_DB = 30.0
QUIETING_DB = 50.0
STANDARD_DBF = 65.0
STILL_RISING_DB = 1.0
"""The ratio is taken as still rising where its last two rows differ by more than this."""
SOURCE = "IHF-T-200 / IEEE 185 (definitions from memory)"
RF_CHOICE = "the RF generator's own error is not known and not in the uncertainty"


@dataclass(frozen=True, eq=False)
class ValuesByLevel:
    """Values in dB by RF level and their standard uncertainty from the printed digits."""

    db: Array
    u: Array


@dataclass(frozen=True, eq=False)
class TunerView:
    """Rows by rising RF level in dBf. snr: audio over noise. distortion: of the audio, below 0.

    A column that the table doesn't have is None.
    """

    dbf: Array
    snr: ValuesByLevel | None
    distortion: ValuesByLevel | None
    separation: ValuesByLevel | None
    stereo_snr: ValuesByLevel | None
    stereo_distortion: ValuesByLevel | None
    am_suppression: ValuesByLevel | None


def dbf_of(volts: Array, ohm: float) -> Array:
    """Level in dB re 1 femtowatt of a voltage across an impedance, matched, V > 0 and ohm > 0."""
    return np.asarray(10 * np.log10(np.square(volts) / ohm / FEMTOWATT))


@view("tuner table", version=3)
def tuner(capture_data: CaptureData, number: int) -> TunerView:
    """Ratios by rising RF level. Raises Refusal where the rows can't be put in order."""
    stimulus, table = capture_data.stimulus, capture_data.table
    assert isinstance(stimulus, Table)
    assert table is not None
    dbf = _rf_level(stimulus, table["rf_level"])
    order = np.argsort(dbf, kind="stable")
    if len(dbf) < 2 or (np.diff(dbf[order]) <= 0).any():
        raise Refusal("fewer than two RF levels, or one that stands twice")
    ordered = {key: values[order] for key, values in table.items() if key != "rf_level"}
    columns = {
        key: _decibels(stimulus, key, values, column_u(capture_data, key)[order])
        for key, values in ordered.items()
    }
    return TunerView(
        dbf[order],
        snr=_ratio(stimulus, columns, "audio_level", "noise"),
        distortion=columns.get("distortion"),
        separation=columns.get("separation"),
        stereo_snr=_ratio(stimulus, columns, "stereo_audio_level", "stereo_noise"),
        stereo_distortion=columns.get("stereo_distortion"),
        am_suppression=columns.get("am_suppression"),
    )


def _rf_level(stimulus: Table, level: Array) -> Array:
    if stimulus.columns["rf_level"].unit == "dBf":
        return level
    if stimulus.antenna_ohm is None:
        raise Refusal("an RF level in volts needs antenna_ohm, the impedance that it was stated at")
    if (level <= 0).any():
        raise Refusal("an RF level of 0 V or below")
    return dbf_of(level, stimulus.antenna_ohm)


def _decibels(stimulus: Table, key: str, values: Array, u: Array) -> ValuesByLevel:
    """A column in dB: volts and percent as 20 lg, watts as 10 lg."""
    unit = stimulus.columns[key].unit
    if unit == "dB":
        if key.endswith("distortion") and (values > 0).any():
            raise Refusal("a distortion is above 0 dB; state it in dB re the audio level, below 0")
        return ValuesByLevel(values, u)
    if (values <= 0).any():
        raise Refusal(f"a value of 0 or below in the column {key}")
    factor = DB_PER_RELATIVE * (0.5 if unit == "W" else 1.0)
    whole = 100.0 if unit == "%" else 1.0
    return ValuesByLevel(factor * np.log(values / whole), factor * u / values)


def _ratio(
    stimulus: Table, columns: dict[str, ValuesByLevel], audio_key: str, noise_key: str
) -> ValuesByLevel | None:
    if noise_key not in columns or audio_key not in columns:
        return None
    kinds = {stimulus.columns[key].unit == "dB" for key in (audio_key, noise_key)}
    if len(kinds) > 1 or stimulus.columns[audio_key].unit == "W":
        raise Refusal("the units of audio level and noise give no ratio")
    audio, noise = columns[audio_key], columns[noise_key]
    return ValuesByLevel(audio.db - noise.db, np.hypot(audio.u, noise.u))


def known(column: ValuesByLevel | None, name: str) -> ValuesByLevel:
    if column is None:
        raise NotApplicable(f"the table has no column {name}")
    return column


def level_for(seen: TunerView, column: ValuesByLevel, wanted_db: float) -> MeasuredValue:
    threshold = settles_at(seen.dbf, column.db, column.u, wanted_db)
    if threshold is None:
        best = float(column.db.max())
        raise Refusal(
            f"{in_text(wanted_db, 'dB', 6)} aren't held up to "
            f"{in_text(seen.dbf[-1], 'dBf', 4)}; the best is {in_text(best, 'dB')}"
        )
    return MeasuredValue(
        threshold.x, threshold.u, threshold.u, bound=None if threshold.within else "upper"
    )


@metric(
    "usable_sensitivity",
    title="Usable sensitivity",
    unit="dBf",
    better="lower",
    source=SOURCE,
    stimuli=["tuner table"],
    version=1,
    choice="least RF level from which noise and distortion, as root sum square, stay 30 dB below "
    "the audio; " + RF_CHOICE,
    traits=Traits(
        compared_at=OF_RF_LEVELS, position=220, only_with="tuner", listening="field in mono"
    ),
)
def usable_sensitivity(seen: TunerView) -> MeasuredValue:
    """Least RF level at which noise and distortion are 30 dB below full modulation."""
    snr, distortion = known(seen.snr, "noise"), known(seen.distortion, "distortion")
    return level_for(seen, noise_and_distortion(snr, distortion), USABLE_DB)


def noise_and_distortion(snr: ValuesByLevel, distortion: ValuesByLevel) -> ValuesByLevel:
    """The audio over noise and distortion together, as root sum square."""
    noise, harmonics = 10 ** (-snr.db / 10), 10 ** (distortion.db / 10)
    total = noise + harmonics
    u = np.hypot(noise * snr.u, harmonics * distortion.u) / total
    return ValuesByLevel(-10 * np.log10(total), u)


@metric(
    "quieting_sensitivity",
    title="50 dB quieting sensitivity",
    unit="dBf",
    better="lower",
    source=SOURCE,
    stimuli=["tuner table"],
    version=1,
    choice="least RF level from which audio over noise stays at 50 dB; " + RF_CHOICE,
    traits=Traits(
        compared_at=OF_RF_LEVELS, position=230, only_with="tuner", listening="field in mono"
    ),
)
def quieting_sensitivity(seen: TunerView) -> MeasuredValue:
    """Least RF level at which the noise is 50 dB below the audio."""
    return quieting_level(seen, known(seen.snr, "noise"))


def quieting_level(seen: TunerView, snr: ValuesByLevel) -> MeasuredValue:
    """Least RF level from which a ratio stays at 50 dB."""
    return level_for(seen, snr, QUIETING_DB)


@metric(
    "ultimate_snr",
    title="Ultimate SNR",
    unit="dB",
    better="higher",
    source=SOURCE,
    stimuli=["tuner table"],
    version=1,
    choice="greatest ratio in the table; a bound where it still rises by more than 1 dB in its "
    "last row",
    traits=Traits(
        compared_at=OF_RF_LEVELS,
        position=240,
        only_with="tuner",
        listening="unweighted noise below reference",
    ),
)
def ultimate_snr(seen: TunerView) -> MeasuredValue:
    """The audio over noise that strong signals reach."""
    return greatest_ratio(known(seen.snr, "noise"))


def greatest_ratio(snr: ValuesByLevel) -> MeasuredValue:
    """The best ratio of the table; a bound where it still rises."""
    best = int(np.argmax(snr.db))
    rising = best == len(snr.db) - 1 and snr.db[-1] - snr.db[-2] > STILL_RISING_DB
    bound: Bound | None = "lower" if rising else None
    own = float(snr.u[best])
    return MeasuredValue(float(snr.db[best]), own, own, bound=bound)


@metric(
    "stereo_separation",
    title="Stereo separation of a tuner",
    unit="dB",
    better="higher",
    source=SOURCE,
    stimuli=["tuner table"],
    version=1,
    choice="of the table's column, at 65 dBf, straight between its rows",
    traits=Traits(
        compared_at=OF_RF_LEVELS, position=250, only_with="tuner", listening="place of one channel"
    ),
)
def stereo_separation(seen: TunerView) -> MeasuredValue:
    """Separation of the channels at an RF level of 65 dBf."""
    return at_standard_level(seen, known(seen.separation, "separation"))


def at_standard_level(seen: TunerView, column: ValuesByLevel) -> MeasuredValue:
    """A column at 65 dBf, straight between its rows. Raises NotApplicable beyond them."""
    if not seen.dbf[0] <= STANDARD_DBF <= seen.dbf[-1]:
        low, high = in_text(seen.dbf[0], "dBf", 4), in_text(seen.dbf[-1], "dBf", 4)
        raise NotApplicable(f"measured from {low} to {high} only")
    value = float(np.interp(STANDARD_DBF, seen.dbf, column.db))
    i = int(np.clip(np.searchsorted(seen.dbf, STANDARD_DBF), 1, len(seen.dbf) - 1))
    on_row = STANDARD_DBF in (seen.dbf[i - 1], seen.dbf[i])
    bent = 0.0 if on_row else abs(float(column.db[i] - column.db[i - 1])) / math.sqrt(12)
    own = math.hypot(float(max(column.u[i - 1], column.u[i])), bent)
    return MeasuredValue(value, own, own)


@curve(
    "quieting",
    title="Signal to noise against RF level",
    x_unit="dBf",
    y_unit="dB",
    stimuli=["tuner table"],
    version=1,
)
def quieting(seen: TunerView) -> CurveData:
    """Audio over noise against the RF level."""
    snr = known(seen.snr, "noise")
    return CurveData(seen.dbf, snr.db, snr.u)
