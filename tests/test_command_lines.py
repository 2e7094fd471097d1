"""Every command line that the help and the documents give, run on a small real catalogue."""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Iterator
from contextlib import nullcontext
from pathlib import Path

import numpy as np
import pytest
import soundfile
import typer
from typer.testing import CliRunner, Result

from backbench.bench_day.planned_capture import PLAN_NAME, Plan, PlannedStep, plan_text
from backbench.catalogue import Catalogue
from backbench.cli import app
from bench_amplifier import BENCH, RANGES_V, Amplifier
from isolated_network import run_isolated_elsewhere
from old_records import HEADINGS, MAP, messy, write_xlsx
from terminal_signs import lost_signs

ROOT = Path(__file__).parent.parent
COMMANDS = typer.main.get_command(app).commands  # type: ignore[attr-defined]
ELSEWHERE = {"demo": "tests/test_demo.py", "watch": "tests/test_watch.py"}
"""Commands whose examples take long; they are run by tests of their own."""
STANDS_FOR = {
    "2024-05-heron-40": "2024-05-heron", "heron-40-left": "heron-40", "m30-left": "heron-40",
    "m30-right": "heron-40-b", "m30-l": "heron-40", "m30-r": "heron-40-b",
    "/media/disk/backbench": "disk/backbench",
}  # fmt: skip
"""What an example names, and what stands for it in the small catalogue."""
PLACEHOLDERS = {
    "new": {"FOLDER": "reviews/2024-05-heron", "UNIT": "heron-40 --state serviced"},
    "backfill": {"SHEET": "old-amplifiers.xlsx", "MAP": "old-amplifiers.toml"},
    "init": {"FOLDER": "another"}, "restore": {"FOLDER": "my-catalogue"},
    "backup": {"FOLDER": "disk/backbench"}, "ingest": {"REVIEW": "reviews/2024-05-heron", "…": ""},
    "chart": {"NAME": "quietest-of-a-kind", "FILE": "noise.svg"},
    "stimuli": {"WAVES": "waves"},
    "cut": {"RECORDING": "recorded-run.wav", "LAYOUT": "waves/run-8ohm.toml"},
    "export": {"FOLDER": "opened"}, "snapshot": {"FOLDER": "shared-readings"},
}  # fmt: skip
USUAL = {
    "A B": "heron-40 heron-40-b", "Y X": "channel_balance age", "BENCH": "garage",
    "BACKUP": "disk/backbench", "REVIEW": "2024-05-heron", "UNIT": "heron-40",
    "NAME": "quietest-of-a-kind", "FILE": "out.html", "FOLDER": "reviews/2024-05-heron",
    "CATALOGUE": "my-catalogue", "…": "",
}  # fmt: skip
IN_ONE_PROCESS = {
    "ingest": " --direct --processes 1", "recompute": " --direct --processes 1",
    "rebuild": " --processes 1", "publish": " --processes 1",
}  # fmt: skip
"""Added to a line, to be quick: the work of worker processes is tested elsewhere."""
GONE_BEFORE = {"init": "my-catalogue", "new": "reviews/2024-05-heron", "restore": "my-catalogue"}
"""What must not be there yet when a command's example begins."""

SETTINGS = BENCH + "".join(
    f'\n[[bench.garage.calibration]]\nsince = 2024-01-01\nrange = "{name}"\n'
    f"volts_peak_at_full_scale = {{ {tracks} }}\nuncertainty_percent = 0.3\n"
    for name, tracks in (
        *((name, f"1 = {volts}, 2 = {volts}") for name, volts in RANGES_V.items()),
        ("generator", "1 = 4.0"),
    )
)
REVIEW = """
[review]
key = "{key}"
date = {date}
bench = "garage"
mains_hz = 50

[[unit]]
key = "{unit}"
maker = "Marrowgate"
model = "Heron 40"
kind = "integrated amplifier"
technology = "tube"
made = {made}
state = "serviced"
rated_power_w = 20

[tracks]
1 = {{ unit = "{unit}", output = "left" }}
2 = {{ unit = "{unit}", output = "right" }}

[conditions]
load_ohm = 8
range = "5 V"

[[capture]]
file = "idle.wav"
stimulus = {{ idle = "input shorted" }}

[[capture]]
file = "tone-1k-1w-8ohm.wav"
stimulus = {{ tone_hz = 1000, generator_vrms = 0.155 }}

[[capture]]
file = "loop-back-1k.wav"
stimulus = {{ tone_hz = 1000, generator_vrms = 1 }}
loop_back = true
tracks = {{ 1 = {{ output = "left" }}, 2 = {{ output = "right" }} }}
"""


def begin_review(folder: Path, key: str, unit: str, date: str, made: int = 1961) -> None:
    """A review of three short captures."""
    folder.mkdir(parents=True)
    (folder / "review.toml").write_text(REVIEW.format(key=key, unit=unit, date=date, made=made))
    rate = 48_000
    time = np.arange(rate // 2) / rate
    tone = np.sqrt(2) * np.sin(2 * np.pi * 1000 * time)
    amplifier = Amplifier(gain=20.0 + len(unit), balance=1 - (2030 - made) / 2000)
    for name, volts in (
        ("idle", amplifier.plays(0 * tone, rate, 8.0)),
        ("tone-1k-1w-8ohm", amplifier.plays(0.155 * tone, rate, 8.0)),
        ("loop-back-1k", np.stack([tone, 0.99 * tone], axis=1)),
    ):
        soundfile.write(folder / f"{name}.wav", volts / RANGES_V["5 V"], rate, subtype="PCM_24")


def run(line: str) -> Result:
    words = shlex.split(line)
    assert words[0] == "backbench"
    return CliRunner().invoke(app, words[1:])


def must(line: str) -> str:
    ran = run(line)
    assert ran.exit_code == 0, f"{line}\n{ran.output}\n{ran.exception!r}"
    return ran.output


@pytest.fixture(scope="module")
def workspace(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder as the examples suppose it. Not to be changed: each example gets a copy."""
    root = tmp_path_factory.mktemp("workspace")
    catalogue = Catalogue.create(root / "my-catalogue", SETTINGS)
    begin_review(root / "reviews" / "2024-05-heron", "2024-05-heron", "heron-40", "2024-05-11")
    begin_review(root / "reviews" / "2024-06-heron", "2024-06-heron", "heron-40-b", "2024-06-11")
    for n in range(8):
        key = f"2024-07-wren-{n}"
        begin_review(root / "reviews" / key, key, f"wren-{n}", f"2024-07-{n + 1:02}", 1958 + 7 * n)
    step = PlannedStep(
        file="tone-1k-4ohm.wav",
        stimulus={"tone_hz": 1000.0, "generator_vrms": 0.155},
        why="output impedance",
    )
    plan = Plan(review="2024-05-heron", full_scale_v=4.0, step=[step])
    (root / "reviews" / "2024-05-heron" / PLAN_NAME).write_text(plan_text(plan))
    outcomes, refused = catalogue.ingest(
        sorted((root / "reviews").iterdir()), history=False, processes=1
    )
    assert not refused
    assert all(not outcome.failed for outcome in outcomes)
    write_xlsx(root / "old-amplifiers.xlsx", [list(HEADINGS), *messy(12, seed=1).rows])
    (root / "old-amplifiers.toml").write_text(MAP)
    soundfile.write(root / "tone.wav", 0.5 * _stereo_tone(), 48_000, subtype="PCM_24")
    return root


def _stereo_tone() -> np.ndarray:
    one = np.sin(2 * np.pi * 1000 * np.arange(48_000) / 48_000)
    return np.stack([one, one], axis=1)


@pytest.fixture
def here(workspace: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    copy = tmp_path / "copy"
    shutil.copytree(workspace, copy)
    monkeypatch.chdir(copy)
    monkeypatch.setenv("BACKBENCH_CATALOGUE", "my-catalogue")
    return copy


# Where command lines are given ----------------------------------------------------------------


def examples() -> dict[str, list[str]]:
    """The examples in the help of each command."""
    return {
        name: [" ".join(example.split()) for example in
               re.findall(r"Example: (backbench .+?)(?:\n\s*\n|\Z)", command.help or "", re.DOTALL)]
        for name, command in COMMANDS.items()
    }  # fmt: skip


def documented() -> Iterator[str]:
    """Command lines of the documents: in blocks, in tables' first column, in the text.

    In the text a command's name alone is a mention, not a line to type.
    """
    for page in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / page).read_text(encoding="utf-8")
        yield from re.findall(r"^\s*(backbench [^\n#]+)", text, re.MULTILINE)
        for cell in re.findall(r"^\| (`backbench [^|]+)\|", text, re.MULTILINE):
            for span in re.findall(r"`([^`]+)`", cell):
                yield span if span.startswith("backbench") else f"backbench {span}"
        for span in re.findall(r"(?<!\| )`(backbench [a-z]+ [^`\n]+)`", text):
            yield span


def real(line: str) -> str:
    """A command line on the small catalogue."""
    command = line.split()[1]
    for name, value in {**USUAL, **PLACEHOLDERS.get(command, {})}.items():
        line = re.sub(rf"(?<![\w-]){re.escape(name)}(?![\w-])", value, line)
    for name, value in STANDS_FOR.items():
        line = re.sub(rf"(?<![\w-]){re.escape(name)}(?![\w-])", value, line)
    line = re.sub(r"(-c|--catalogue) [\w-]+", r"\1 my-catalogue", line)
    return line + IN_ONE_PROCESS.get(command, "")


def put_site(folder: Path) -> None:
    """A site of one picture: making a whole one is tested elsewhere."""
    (folder / "charts").mkdir(parents=True)
    svg = '<svg xmlns="http://www.w3.org/2000/svg" width="960" height="540"></svg>'
    (folder / "charts" / "one.svg").write_text(svg)


def prepare(command: str, root: Path) -> None:
    """What an example supposes to have been done before it."""
    if command == "restore":
        must("backbench backup disk/backbench")
    if command == "cut":
        must("backbench stimuli reviews/2024-05-heron waves")
        for ending in (".wav", ".toml"):
            shutil.copy(root / f"waves/run-all{ending}", root / f"waves/run-8ohm{ending}")
        shutil.copy(root / "waves/run-8ohm.wav", root / "recorded-run.wav")
    if command == "publish":
        shutil.rmtree(root / "my-catalogue")
        small = Catalogue.create(root / "my-catalogue", SETTINGS)
        small.ingest([root / "reviews" / "2024-05-heron"], history=False, processes=1)
    if command == "pictures":
        put_site(root / "my-catalogue" / "published" / "site")
    if command == "before-after":
        earlier = root / "reviews" / "2024-04-heron"
        begin_review(earlier, earlier.name, "heron-40", "2024-04-11")
        manifest = earlier / "review.toml"
        manifest.write_text(manifest.read_text().replace('"serviced"', '"as received"'))
        must(f"backbench ingest {earlier} --direct --processes 1")
    if command in GONE_BEFORE:
        shutil.rmtree(root / GONE_BEFORE[command])


def well(command: str) -> set[int]:
    """Exit codes of a command that did what it was asked: some tell what they left out."""
    return {0, 3} if command in {"backfill", "stimuli"} else {0}


def distinct() -> list[str]:
    """Each line once, whether its catalogue is named or comes from the environment."""
    given = [line for group in examples().values() for line in group]
    lines = sorted(real(line) for line in [*given, *documented()])
    by_words = {" ".join(re.sub(r"(-c|--catalogue) \S+", "", line).split()): line for line in lines}
    return sorted(by_words.values())


LINES = distinct()


IDS = [f"{line.split()[1]}-{number}" for number, line in enumerate(LINES)]
FIRST_OF_EACH = list({one.rpartition("-")[0]: one for one in reversed(IDS)}.values())
"""One line of each command, by its name among the tests."""
NOT_HERE = set(FIRST_OF_EACH) if run_isolated_elsewhere() else set()
"""Lines that tests/faults/test_no_network.py runs, by the same test."""
HERE = [(line, name) for line, name in zip(LINES, IDS, strict=True) if name not in NOT_HERE]


NOTHING_FOLLOWS = {
    "chart": "a picture was written", "sheet": "a page was written",
    "pictures": "a page was written", "publish": "the site stands",
    "export": "the files stand", "snapshot": "the copy stands", "pair": "an answer to a question",
    "promises": "an answer to a question",
    "trend": "an answer to a question", "drift": "an answer to a question",
    "before-after": "an answer to a question",
    "verify": "nothing is wrong", "withdraw": "with --dry-run nothing was done",
}  # fmt: skip
"""Commands after which there is nothing to be done, and why."""


@pytest.mark.usefixtures("few_questions")
@pytest.mark.parametrize("line", [line for line, _ in HERE], ids=[name for _, name in HERE])
def test_a_command_line_that_is_given_runs(line: str, here: Path) -> None:
    command = line.split()[1]
    if command in ELSEWHERE:
        assert (ROOT / ELSEWHERE[command]).exists()
        return
    prepare(command, here)
    if "--propose" in line:
        (here / "old-amplifiers.toml").unlink()
    ran = run(line)
    assert ran.exit_code in well(command), f"{ran.output}\n{ran.exception!r}"
    for character_set in ("ascii", "latin-1", "cp437"):
        assert not lost_signs(ran.output, character_set), character_set
    only_asked = re.search("--help|--dry-run|--format|--out|--stills|--propose", line)
    if command not in NOTHING_FOLLOWS and not only_asked:
        assert "Next: backbench " in ran.output, ran.output


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_the_help_of_every_command_has_an_example(name: str) -> None:
    assert examples()[name], f"{name} has no example in its help"


WRITING = {
    "new": "reviews/other --unit heron-40 --state restored", "plan": "reviews/2024-05-heron",
    "stimuli": "reviews/2024-05-heron waves", "check": "reviews/2024-05-heron --accept",
    "export": "out", "withdraw": "2024-05-heron --reason x", "rename": "heron-40-b heron-40-second",
    "join": "heron-40-b heron-40",
    "backfill": "old-amplifiers.xlsx --map old-amplifiers.toml --yes",
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(WRITING))
def test_a_dry_run_writes_nothing(name: str, here: Path) -> None:
    def contents() -> dict[str, bytes]:
        return {
            str(path): path.read_bytes() for path in sorted(here.rglob("*"))
            if path.is_file() and ".lock" not in path.name and ".wal" not in path.name
        }  # fmt: skip

    before = contents()
    ran = run(f"backbench {name} {WRITING[name]} --dry-run")
    assert ran.exit_code in well(name), ran.output
    assert contents() == before


def test_no_colours_where_there_is_no_terminal(here: Path) -> None:
    for line in ("backbench reviews", "backbench compare heron-40", "backbench plan "
                 "reviews/2024-05-heron", "backbench --help"):  # fmt: skip
        assert "\x1b" not in must(line)


class Told:
    """Stands for the bar: what it was told."""

    def __init__(self) -> None:
        self.totals: list[int] = []
        self.done = 0

    def started(self, total: int) -> None:
        self.totals.append(total)

    def progress(self, number: int) -> None:
        self.done += number


SLOW = (
    "backfill old-amplifiers.xlsx --map old-amplifiers.toml --yes", "export out",
    "history heron-40 --readings",
)  # fmt: skip


@pytest.mark.parametrize("line", SLOW)
def test_what_may_take_long_tells_how_far_it_is(
    line: str, here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bar = Told()
    monkeypatch.setattr("backbench.reports.progress_bars.watched", lambda *_: nullcontext(bar))
    if line.startswith("history"):
        review = here / "reviews" / "2024-05-heron"
        manifest = review / "review.toml"
        manifest.write_text(manifest.read_text().replace("vrms = 0.155", "vrms = 0.154"))
        must(f"backbench ingest {review} --direct")
        bar.totals, bar.done = [], 0
    ran = run(f"backbench {line}")
    assert ran.exit_code in well(line.split(maxsplit=1)[0]), ran.output
    assert bar.totals == [bar.done]
    assert bar.done > 1
