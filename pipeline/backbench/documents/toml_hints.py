"""A line of TOML that can't be read, with what was likely meant."""

from __future__ import annotations

import re

from backbench.errors import Fault
from backbench.quantities.days import EXPECTED, days_meant

AT = re.compile(r"\(at line (\d+), column \d+\)$")
DECIMAL_COMMA = re.compile(r"=\s*[-+]?\d+,\d+\s*(?=[,}#]|$)")
"""Of a value of its own, or of one among others in a table { }."""
DAY = re.compile(r"=\s*(\d{1,4})[-/.](\d{1,2})[-/.](\d{1,4})\s*(#.*)?$")
CURLY = re.compile("[\u201c\u201d\u201e\u2018\u2019]")
WITH_UNIT = re.compile(r"=\s*([-+]?[\d.]+\s*[A-Za-zΩµ%]+)\s*(#.*)?$")
BARE = re.compile(r"=\s*([A-Za-z][^\"'\[\]{}=#]*?)\s*(#.*)?$")
LONGEST = 100


def unreadable(text: str, message: str, name: str) -> Fault:
    """The fault of a text that the TOML parser refused with a message: its line, quoted."""
    position = AT.search(message)
    if position is None:
        return Fault(name, message or "nesting without end", "TOML", "correct the line named")
    number = int(position[1])
    lines = text.splitlines()
    line = lines[number - 1].strip() if number <= len(lines) else ""
    message_text = message[: position.start()].strip()
    quoted = line if len(line) <= LONGEST else f"{line[:LONGEST]}…"
    return Fault(
        f"{name}, line {number}", quoted or "the end of the file", _likely(line, message_text)
    )


def _likely(line: str, message_text: str) -> str:
    """What was likely meant by a line; the parser's own words where nothing is likely."""
    if "overwrite" in message_text:
        return f"each key once ({message_text[:1].lower()}{message_text[1:]})"
    hints = (test(line) for test in (_comma, _day, _quotes, _brackets, _bare))
    return next(
        (text for text in hints if text), f"TOML ({message_text[:1].lower()}{message_text[1:]})"
    )


def _comma(line: str) -> str | None:
    if DECIMAL_COMMA.search(line) is None:
        return None
    return f"a decimal point: {DECIMAL_COMMA.sub(lambda m: m[0].replace(',', '.'), line)}"


def _day(line: str) -> str | None:
    """The date as TOML has it; both where day and month can't be told apart."""
    match = DAY.search(line)
    if match is None:
        return None
    key = line[: match.start(1)]
    written = match[0].removeprefix("=").partition("#")[0]
    days = [f"{key}{day}" for day in days_meant(written)]
    return f"year-month-day: {' or '.join(days)}" if days else EXPECTED


def _quotes(line: str) -> str | None:
    if CURLY.search(line):
        straight = CURLY.sub('"', line)
        return f"straight quotation marks: {straight}"
    return f'a closing quotation mark: {line.rstrip(",")}"' if line.count('"') % 2 else None


def _brackets(line: str) -> str | None:
    open_ones = line.count("[") - line.count("]")
    if line.startswith("[") and open_ones > 0:
        return f"as many ] as [: {line}{']' * open_ones}"
    if line.count("{") != line.count("}"):
        return "a table { } that ends on the line on which it begins"
    return None


def _bare(line: str) -> str | None:
    for pattern in (WITH_UNIT, BARE):
        match = pattern.search(line)
        if match:
            return f'text in quotation marks: {line[: match.start(1)]}"{match[1]}"'
    has_no_value = "=" not in line and line
    return "a key, an equals sign and a value: key = value" if has_no_value else None
