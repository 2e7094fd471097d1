"""A tuner: what its outputs give of a modulated carrier, and its tables by RF level."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.signal.track import Array

SUBCARRIER_BELOW_PILOT = 0.5
Columns = dict[str, tuple[str, Array]]


@dataclass(frozen=True)
class Tuner:
    """level_v: rms of full deviation at 1 kHz, left. deemphasis_s: as it is. right: of the left
    level. full_quieting_dbf: where 30 dB of quieting are reached, less; adjacent_db, alternate_db:
    selectivity; image_db, intermediate_db: rejections.
    """

    level_v: float = 0.5
    deemphasis_s: float = 52e-6
    pilot_db: float = -52.0
    separation_db: float = 38.0
    right: float = 0.97
    snr_db: float = 74.0
    stereo_loss_db: float = 20.0
    full_quieting_dbf: float = 12.0
    capture_db: float = 1.5
    alternate_db: float = 62.0
    adjacent_db: float = 6.5
    image_db: float = 68.0
    intermediate_db: float = 78.0
    thd_percent: float = 0.2
    am_suppression_db: float = 55.0

    def plays(
        self, hz: float | None, *, pilot: bool, driven: str | None, seconds: float,
        rate_hz: float, rng: np.random.Generator,
    ) -> Array:  # fmt: skip
        """Both outputs, V, shape (n, 2): what the tone's de-emphasis leaves, hiss, the pilot."""
        time = np.arange(int(seconds * rate_hz)) / rate_hz
        hiss = self.level_v * 10 ** (-self.snr_db / 20)
        out = []
        for output, gain in (("left", 1.0), ("right", self.right)):
            volts = rng.normal(0.0, hiss, len(time))
            if hz is not None:
                share = 1.0 if driven in (None, output) else 10 ** (-self.separation_db / 20)
                level = gain * share * self.level_v * self.re_1khz(hz)
                volts += math.sqrt(2) * level * np.sin(2 * np.pi * hz * time + 0.2)
            if pilot:
                lines = np.sin(2 * np.pi * 19e3 * time)
                lines += SUBCARRIER_BELOW_PILOT * np.sin(2 * np.pi * 38e3 * time)
                volts += math.sqrt(2) * gain * self.level_v * 10 ** (self.pilot_db / 20) * lines
            out.append(volts)
        return np.stack(out, axis=1)

    def re_1khz(self, hz: float) -> float:
        """What the de-emphasis leaves of a tone, re 1 kHz, a ratio."""
        return deemphasis(hz, self.deemphasis_s) / deemphasis(1000.0, self.deemphasis_s)

    def snr(self, dbf: Array, loss: float = 0.0) -> Array:
        """2 dB for each dB of the RF level until it is full."""
        rising = 2 * (dbf - self.full_quieting_dbf - loss) + 30
        return np.asarray(np.minimum(rising, self.snr_db - loss / 2))

    def by_rf_level(self) -> Columns:
        """Columns of a tuner table: unit and values of each."""
        dbf = np.arange(8.0, 90.0, 3.0)
        zero = 0 * dbf
        return {
            "rf_level": ("dBf", dbf), "audio_level": ("dB", zero), "noise": ("dB", -self.snr(dbf)),
            "distortion": ("%", zero + self.thd_percent), "stereo_audio_level": ("dB", zero),
            "stereo_noise": ("dB", -self.snr(dbf, self.stereo_loss_db)),
            "stereo_distortion": ("%", zero + 2 * self.thd_percent),
            "separation": ("dB", zero + self.separation_db),
            "am_suppression": ("dB", zero + self.am_suppression_db),
        }  # fmt: skip

    def by_interferer(self) -> Columns:
        """Columns of an interference table."""
        level = np.arange(-20.0, 90.5, 0.5)
        width = 2 * self.capture_db
        same = np.clip(30 - 29 * (level + width) / width, 0.0, 60.0)
        rejected = {
            "adjacent_channel": self.adjacent_db, "alternate_channel": self.alternate_db,
            "image": self.image_db, "intermediate_frequency": self.intermediate_db,
        }  # fmt: skip
        return {
            "interferer_level": ("dB", level), "same_channel": ("dB", same),
            **{name: ("dB", 30 + db - level) for name, db in rejected.items()},
        }  # fmt: skip


def deemphasis(hz: float, constant_s: float) -> float:
    return 1 / math.hypot(1.0, 2 * math.pi * hz * constant_s)


def table_text(columns: Columns) -> str:
    """The columns as CSV."""
    rows = np.stack([values for _, values in columns.values()], axis=1)
    lines = [",".join(columns), *(",".join(f"{value:.2f}" for value in row) for row in rows)]
    return "\n".join(lines) + "\n"


def table_toml(kind: str, columns: Columns) -> str:
    """The stimulus of such a table as an inline table of the manifest."""
    declared = ", ".join(
        f'{key} = {{ name = "{key}", unit = "{unit}" }}' for key, (unit, _) in columns.items()
    )
    return f'{{ table = "{kind}", columns = {{ {declared} }} }}'
