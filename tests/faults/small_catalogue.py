"""A catalogue and reviews so small that one run of a command costs well under a second."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from backbench.catalogue import Catalogue

SETTINGS = """\
title = "Small bench"
[bench.shed]
load_uncertainty_percent = 0.3
generator_uncertainty_percent = 0.3
[[bench.shed.calibration]]
since = 2024-01-01
volts_peak_at_full_scale = {{ 1 = {volts} }}
uncertainty_percent = 0.2
"""

MANIFEST = """\
[review]
key = "{key}"
date = 2024-06-01
bench = "shed"
mains_hz = 50
notes = "version {version}"

[[unit]]
key = "unit-of-{key}"
maker = "Marrowgate"
model = "Tern {key}"
kind = "power amplifier"
technology = "tube"
state = "serviced"

[tracks]
1 = {{ unit = "unit-of-{key}", output = "out" }}

[conditions]
load_ohm = 8
input = "only"

[[capture]]
file = "tone.wav"
stimulus = {{ tone_hz = 1000, generator_vrms = {drive} }}

[[capture]]
file = "response.csv"
of = {{ unit = "unit-of-{key}", output = "out" }}
stimulus = {{ table = "response", columns = {{ frequency = {{ name = "f", unit = "Hz" }}, \
level = {{ name = "a", unit = "dB" }} }} }}
"""


def small_catalogue(folder: Path) -> Catalogue:
    """An empty catalogue with one bench of one track."""
    return Catalogue.create(folder, SETTINGS.format(volts=10.0))


def set_calibration(catalogue: Catalogue, volts: float) -> None:
    """Another calibration: every tone's readings are stale."""
    path = catalogue.places.root / "backbench.toml"
    path.write_text(SETTINGS.format(volts=volts))


def write_review(folder: Path, version: int) -> None:
    """A review folder of this version: each fifth changes a capture, the others the notes."""
    folder.mkdir(parents=True, exist_ok=True)
    seed = version // 5
    drive = 0.5 + 0.01 * (version % 3)
    text = MANIFEST.format(key=folder.name, version=version, drive=drive)
    (folder / "review.toml").write_text(text)
    noise = np.random.default_rng([seed, *folder.name.encode()]).normal(size=4800)
    wave = 0.3 * np.sin(2 * np.pi * 1000 * np.arange(4800) / 48000) + 1e-4 * noise
    soundfile.write(folder / "tone.wav", wave, 48000, subtype="PCM_24")
    hertz = np.geomspace(10, 40000, 25)
    level = -10 * np.log10(1 + (20 / hertz) ** 2 + (hertz / (20000 + seed)) ** 2)
    rows = "\n".join(f"{f:.3f},{a:.4f}" for f, a in zip(hertz, level, strict=True))
    (folder / "response.csv").write_text(f"f,a\n{rows}\n")
