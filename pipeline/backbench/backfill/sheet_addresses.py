"""Addresses of cells, as F12, and their rows and columns from 0."""

from __future__ import annotations

import re


def column(number: int) -> str:
    """A column's letters, from 0: A, B, …, Z, AA."""
    letters = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def address(row: int, number: int) -> str:
    """A cell's address from its row and its column."""
    return f"{column(number)}{row + 1}"


def column_of(text: str) -> int:
    """The column of an address, from 0; that of its first four letters."""
    number = 0
    for letter in re.sub(r"[^A-Z]", "", text.upper())[:4]:
        number = 26 * number + ord(letter) - ord("A") + 1
    return number - 1
