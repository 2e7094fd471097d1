"""What a terminal of another character set shows of a text."""

from __future__ import annotations

import re
import unicodedata

from backbench.reports.plain_signs import HANDLER, register

register()


def shown(text: str, character_set: str) -> str:
    """The text as a terminal of that character set shows it."""
    return text.encode(character_set, HANDLER).decode(character_set)


def lost_signs(text: str, character_set: str) -> list[str]:
    """Words of which a digit, a sign of a number or a letter would be lost."""
    return [
        word
        for word in text.split()
        if digits(shown(word, character_set)) != digits(word)
        or shown(word, character_set).count("?") > word.count("?")
    ]


def digits(word: str) -> str:
    """The digits of a word with the minus signs and dashes before them, in any writing."""
    plain = unicodedata.normalize("NFKD", word).replace("\N{MINUS SIGN}", "-")
    plain = re.sub("[\N{EN DASH}\N{EM DASH}]", "-", plain)
    return "".join(re.findall(r"-(?=\d)|\d", plain))
