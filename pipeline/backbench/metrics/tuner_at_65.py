"""What a tuner does on a strong signal, and in stereo, from a table of RF levels."""

from __future__ import annotations

from backbench.metrics.declaration import MeasuredValue, metric
from backbench.metrics.traits import OF_RF_LEVELS, Traits
from backbench.metrics.tuner import (
    RF_CHOICE,
    SOURCE,
    USABLE_DB,
    TunerView,
    ValuesByLevel,
    at_standard_level,
    greatest_ratio,
    known,
    level_for,
    noise_and_distortion,
    quieting_level,
)
from backbench.signal.uncertainty import DB_PER_RELATIVE

FAMILY = "Tuner"

_STEREO = "of the table's columns for stereo; "


def _percent(seen: TunerView, column: ValuesByLevel) -> MeasuredValue:
    """Distortion at 65 dBf, from dB to %."""
    found = at_standard_level(seen, column)
    value = 100 * 10 ** (found.value / 20)
    u = value * found.uncertainty / DB_PER_RELATIVE
    return MeasuredValue(value, u, u)


@metric(
    "tuner_thd",
    title="THD of a tuner",
    unit="%",
    better="lower",
    source=SOURCE,
    stimuli=["tuner table"],
    version=1,
    choice="of the table's column, at 65 dBf, straight in dB between its rows",
    traits=Traits(compared_at=OF_RF_LEVELS, position=241, only_with="tuner"),
)
def tuner_thd(seen: TunerView) -> MeasuredValue:
    """Distortion at full modulation at an RF level of 65 dBf."""
    return _percent(seen, known(seen.distortion, "distortion"))


@metric(
    "tuner_thd_stereo",
    title="THD of a tuner in stereo",
    unit="%",
    better="lower",
    source=SOURCE,
    stimuli=["tuner table"],
    version=1,
    choice=_STEREO + "at 65 dBf, straight in dB between its rows",
    traits=Traits(compared_at=OF_RF_LEVELS, position=242, only_with="tuner"),
)
def tuner_thd_stereo(seen: TunerView) -> MeasuredValue:
    """Distortion at full modulation in stereo at an RF level of 65 dBf."""
    return _percent(seen, known(seen.stereo_distortion, "stereo_distortion"))


@metric(
    "usable_sensitivity_stereo",
    title="Usable sensitivity in stereo",
    unit="dBf",
    better="lower",
    source=SOURCE,
    stimuli=["tuner table"],
    version=1,
    choice=_STEREO + "as in mono; " + RF_CHOICE,
    traits=Traits(compared_at=OF_RF_LEVELS, position=243, only_with="tuner", on_request=True),
)
def usable_sensitivity_stereo(seen: TunerView) -> MeasuredValue:
    """Least RF level at which noise and distortion in stereo are 30 dB below full modulation."""
    snr = known(seen.stereo_snr, "stereo_noise")
    distortion = known(seen.stereo_distortion, "stereo_distortion")
    return level_for(seen, noise_and_distortion(snr, distortion), USABLE_DB)


@metric(
    "quieting_sensitivity_stereo",
    title="50 dB quieting sensitivity in stereo",
    unit="dBf",
    better="lower",
    source=SOURCE,
    stimuli=["tuner table"],
    version=1,
    choice=_STEREO + "as in mono; " + RF_CHOICE,
    traits=Traits(
        compared_at=OF_RF_LEVELS, position=244, only_with="tuner", listening="field in stereo"
    ),
)
def quieting_sensitivity_stereo(seen: TunerView) -> MeasuredValue:
    """Least RF level at which the noise in stereo is 50 dB below the audio."""
    return quieting_level(seen, known(seen.stereo_snr, "stereo_noise"))


@metric(
    "ultimate_snr_stereo",
    title="Ultimate SNR in stereo",
    unit="dB",
    better="higher",
    source=SOURCE,
    stimuli=["tuner table"],
    version=1,
    choice=_STEREO + "as in mono",
    traits=Traits(
        compared_at=OF_RF_LEVELS,
        position=245,
        only_with="tuner",
        listening="unweighted noise below reference",
    ),
)
def ultimate_snr_stereo(seen: TunerView) -> MeasuredValue:
    """The audio over noise that strong signals reach in stereo."""
    return greatest_ratio(known(seen.stereo_snr, "stereo_noise"))


@metric(
    "am_suppression",
    title="AM suppression",
    unit="dB",
    better="higher",
    source=SOURCE,
    stimuli=["tuner table"],
    version=1,
    choice="of the table's column (audio of full frequency modulation over what 30 % amplitude "
    "modulation leaves), at 65 dBf, straight between its rows",
    traits=Traits(compared_at=OF_RF_LEVELS, position=246, only_with="tuner"),
)
def am_suppression(seen: TunerView) -> MeasuredValue:
    """How far the tuner suppresses amplitude modulation at an RF level of 65 dBf."""
    return at_standard_level(seen, known(seen.am_suppression, "am_suppression"))
