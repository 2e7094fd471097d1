"""Words that a command has no place for are refused in plain words, with what to do."""

from __future__ import annotations

import pytest

from commands_run import run


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["compare", "a", "b"], "b is too many. To compare two units with each other, use: "
                                "backbench pair a b"),
        (["compare", "a b", "c d", "e"], "'c d' e are too many. To compare two units with each "
                                         "other, use: backbench pair 'a b' 'c d'"),
        (["query", "x", "y"], "takes nothing but: name; y is too many. A name that has spaces "
                              "stands in quotation marks."),
        (["reviews", "x"], "takes no argument; x is too many."),
    ],
)  # fmt: skip
def test_what_is_too_many_is_named_with_what_to_do(words: list[str], said: str) -> None:
    output = " ".join(run(*words, codes=(2,)).output.split())
    assert said in output
    assert "Got unexpected" not in output


def test_help_is_shown_beside_words_too_many() -> None:
    assert "Usage: " in run("compare", "a", "b", "--help").output
