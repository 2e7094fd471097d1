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


def place_of(text: str) -> tuple[int, int]:
    """Row and column, from 0, of an address. Raises ValueError for one that no sheet has."""
    match = re.fullmatch(r"([A-Z]{1,3})([1-9][0-9]{0,6})", text)
    if match is None:
        raise ValueError(f"a cell at {text[:20]!r}")
    number = 0
    for letter in match[1]:
        number = 26 * number + ord(letter) - ord("A") + 1
    return int(match[2]) - 1, number - 1
