"""Output to a terminal whose character set is not UTF-8; tests/test_command_lines.py asks it of
what every command prints.
"""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from terminal_signs import lost_signs, shown

CODE = "from backbench.cli import main; main()"
SHOWN = {
    "10⁻³ V": "10^-3 V", "−60.5 dB": "-60.5 dB", "3.2 µV ± 0.1 µV": "3.2 uV +/- 0.1 uV",
    "1½ W": "1 1/2 W", "1–3 Ω": "1-3 ohm", "≥ 20 °C": ">= 20 degC", "5 ≠ 6": "5 != 6",
    "Käfer": "Kafer", "√2": "sqrt 2", "５％": "5%", "ten\u00a0W": "ten W", "日本 ∤": "?? ?",
    "a\ud83cb": "a?b",
}  # fmt: skip


@pytest.mark.parametrize("text", SHOWN)
def test_no_digit_and_no_sign_of_a_number_is_lost_in_ascii(text: str) -> None:
    assert shown(text, "ascii") == SHOWN[text]


def test_what_counts_as_lost() -> None:
    assert lost_signs("10⁻³ −1 1–2 ± 3 ½", "ascii") == []
    assert lost_signs("日本 12", "ascii") == ["日本"]


@pytest.mark.parametrize("command", ["metrics", "new --help"])
@pytest.mark.parametrize(
    "settings",
    [
        {"PYTHONIOENCODING": "ascii"}, {"PYTHONIOENCODING": "latin-1"},
        {"PYTHONIOENCODING": "cp437"}, {"PYTHONIOENCODING": "utf-8"},
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
    ],
    ids=["ascii", "latin-1", "cp437", "utf-8", "C"],
)  # fmt: skip
def test_a_command_in_another_character_set(settings: dict[str, str], command: str) -> None:
    ran = subprocess.run(
        [sys.executable, "-c", CODE, *command.split()], capture_output=True, check=False,
        env={**os.environ, **settings},
    )  # fmt: skip
    assert (ran.returncode, ran.stderr) == (0, b"")
    printed = ran.stdout.decode(settings.get("PYTHONIOENCODING", "ascii"))
    assert {"metrics": "Residual noise", "new --help": "preamplifier, "}[command] in printed
    assert "?" not in printed
    sign, has = {"metrics": ("√", {"utf-8", "cp437"}), "new --help": ("…", {"utf-8"})}[command]
    assert (sign in printed) == (settings.get("PYTHONIOENCODING") in has)
