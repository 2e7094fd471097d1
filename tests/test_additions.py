"""Five things added to a copy of the program by what the contributors' page says, then used."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
CIRCUITS = ROOT / "tests" / "simulated_circuits"
PARTS = {"schema": ROOT / "schema", "queries": ROOT / "queries",
         "seed_dataset": ROOT / "seed_dataset"}  # fmt: skip

METRIC = '''
"""Peak over rms."""

from backbench.metrics.declaration import MeasuredValue, metric
from backbench.metrics.tone import ToneView
from backbench.metrics.traits import AT_POWERS, Traits


@metric(
    "crest_added", title="Crest factor", unit="1", better="neither", source="none, an example",
    stimuli=["tone"], version=1,
    traits=Traits(compared_at=AT_POWERS, position=65, captions=("distortion-over-power",)),
)
def crest_added(tone: ToneView) -> MeasuredValue:
    """Greatest magnitude over the rms."""
    volts = tone.track.volts
    return MeasuredValue(float(abs(volts).max() / volts.std()), 0.01)
'''
MODEL = '''
class Pip(StimulusModel):
    """A sine that is named otherwise."""

    kind: ClassVar[str] = "pip"
    marker: ClassVar[str] = "pip_hz"
    pip_hz: Hertz

    @property
    def frequency(self) -> float:
        return self.pip_hz


Stimulus = Pip | '''
VIEW = '''
"""Metrics of a pip."""

from backbench.metrics.declaration import CaptureData, MeasuredValue, metric, view


@view("pip", version=1)
def pip(capture_data: CaptureData, number: int) -> float:
    """The rms of output track `number`, V."""
    return float(capture_data.outputs[number].volts.std())


@metric(
    "pip_level", title="Level of a pip", unit="V", better="neither", source="none, an example",
    stimuli=["pip"], version=1,
)
def pip_level(volts: float) -> MeasuredValue:
    """Rms at the output."""
    return MeasuredValue(volts, 0.01 * volts)
'''
CHART = '''
"""Values as a sentence."""

import altair as alt

from backbench.charts.declaration import ChartInput, chart
from backbench.charts.page_layout import message_chart


@chart("counted", ("unit_key", "value"))
def counted(chart_input: ChartInput) -> alt.LayerChart:
    """How many values there are."""
    return message_chart(chart_input, f"{chart_input.frame.height} values are there.")
'''
QUERY = """\
-- title: Crest factors
-- question: How peaked is every unit's output?
-- grain: unit_key
-- column unit_key: -; Unit
-- column value: 1; Crest factor
-- chart: counted
SELECT unit_key, max(value) AS value FROM reading WHERE metric = 'crest_added'
GROUP BY ALL ORDER BY unit_key
"""
COMMAND = '''

@app.command()
def greeting() -> None:
    """Say that the command is there.

    Example: backbench greeting
    """
    typer.echo("the command is there")
'''
USE = """
import sys
from pathlib import Path

from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.metrics import reference_page

reference_page.write_tables()
folder, bench, review = map(Path, sys.argv[1:])
catalogue = Catalogue.create(folder, bench.read_text())
outcomes, refused = catalogue.ingest([review], history=False, processes=1)
assert not refused, refused[0].error
assert not outcomes[0].failed, outcomes[0].failed
stimuli = catalogue.captures()["stimulus"].to_list()
pips = catalogue.frame("SELECT value FROM reading WHERE metric = 'pip_level' AND value > 0")
crests = catalogue.query("crest-factors")
lines = catalogue.compare(str(crests["unit_key"][0])).lines
picture = catalogue.chart("crest-factors").to_json()


def run(*command):
    done = CliRunner().invoke(app, [str(word) for word in command])
    assert done.exit_code == 0, done.output
    return done.output


print("pip" in stimuli, pips.height > 0, 1.2 < crests["value"].max() < 1.6)
print("crest_added" in [line.metric for line in lines])
print("values are there" in picture, run("greeting").strip())
print("Level of a pip" in run("metrics"), "pip" in run("show", "class-b-power-steps", "-c", folder))
"""


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """The program in a folder of its own, as a wheel lays it out."""
    package = tmp_path / "copy" / "backbench"
    ignored = shutil.ignore_patterns("__pycache__")
    shutil.copytree(ROOT / "pipeline" / "backbench", package, ignore=ignored)
    for name, source in PARTS.items():
        shutil.copytree(source, package / name, ignore=ignored)
    return package


def replace(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert text.count(old) == 1, (path, old)
    path.write_text(text.replace(old, new))


def add_five(package: Path) -> set[str]:
    """A metric, a stimulus, a chart, a query and a command; the files that it took."""
    (package / "metrics" / "crest_added.py").write_text(METRIC)
    replace(package / "documents" / "stimuli.py", "\nStimulus = ", MODEL)
    (package / "metrics" / "pip.py").write_text(VIEW)
    (package / "charts" / "counted.py").write_text(CHART)
    (package / "queries" / "crest-factors.sql").write_text(QUERY)
    browse = package / "commands" / "browse.py"
    browse.write_text(browse.read_text() + COMMAND)
    return {"metrics/crest_added.py", "documents/stimuli.py", "metrics/pip.py",
            "charts/counted.py", "queries/crest-factors.sql", "commands/browse.py"}  # fmt: skip


def a_review(folder: Path) -> Path:
    """Three captures of a simulated circuit, the last of them taken for a pip."""
    shutil.copytree(CIRCUITS / "class_b_power_steps", folder)
    manifest = folder / "review.toml"
    head, *captures = manifest.read_text().split("[[capture]]\n")
    pip = 'file = "level_09.flac"\nstimulus = { pip_hz = 1000 }\n'
    chosen = [text for text in captures if any(f"level_0{n}" in text for n in (7, 8))]
    manifest.write_text("[[capture]]\n".join([head, *chosen, pip]))
    return folder


# The one test that starts the program anew from other files: some seconds.
def test_five_additions_by_the_table_work(copy: Path, tmp_path: Path) -> None:
    before = {p.relative_to(copy).as_posix(): p.read_bytes() for p in copy.rglob("*.*")}
    touched = add_five(copy)
    after = {p.relative_to(copy).as_posix(): p.read_bytes() for p in copy.rglob("*.*")}
    assert {name for name in after if after[name] != before.get(name)} == touched
    ran = subprocess.run(
        [sys.executable, "-c", USE, tmp_path / "catalogue", CIRCUITS / "backbench.toml",
         a_review(tmp_path / "review")],
        env={**os.environ, "PYTHONPATH": str(copy.parent)}, cwd=tmp_path,
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr[-2000:]
    assert ran.stdout.splitlines() == [
        "True True True", "True", "True the command is there", "True True"
    ]  # fmt: skip
