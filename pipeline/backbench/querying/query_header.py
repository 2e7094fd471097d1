"""The header of a saved query: comment lines at the top of its file, the only declaration it has.

-- title: Residual noise of one technology
-- conditions: {technology} units; idle, input terminated; bars: k = 2
-- question: How quiet is each unit with its input terminated?
--   (a line that starts with three spaces goes on with the one before)
-- grain: unit_key; one row per unit
-- metric: noise_a
-- needed: unit_key, value
-- parameter technology: technology = 'tube'; which technology
-- column unit_key: -; Unit
-- column value: V; Residual noise, A-weighted
-- chart: ranked; scale = log
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from backbench.documents.validation import shortened
from backbench.errors import MISSING, Fault, did_you_mean
from backbench.metrics.metric_names import metric_key, unknown_metric

TYPES = ("text", "number", "integer", "flag", "date", "unit", "metric", "technology", "point")
KEYS = ("title", "question", "conditions", "grain", "metric", "needed", "chart")
"""Keys of the header that stand alone; parameters and columns have names."""
NAME = re.compile(r"[a-z][a-z0-9_]*")
LINE = re.compile(r"--\s?(?P<key>[^:]*?)\s*:\s*(?P<value>.*)")
PARAMETER = re.compile(r"(?P<type>\w+)\s*=\s*(?P<default>'[^']*'|[^\s;']+)\s*(?:;\s*(?P<help>.+))?")
PLACE = re.compile(r"\{(\w+)\}")
UNQUOTED = re.compile(r"'(?:[^']|'')*'|\"(?:[^\"]|\"\")*\"|--[^\n]*|/\*.*?\*/", re.DOTALL)


@dataclass(frozen=True)
class Parameter:
    """A value that may be given by name. `type` is one of TYPES; default as written."""

    name: str
    type: str
    default: str
    help: str


@dataclass(frozen=True)
class ResultColumn:
    """A column of the result: its name, unit ("" for text and plain numbers) and title.

    unit_column: the column that holds the unit of each row; "" where the unit is the same in all.
    """

    name: str
    unit: str
    title: str
    unit_column: str = ""

    @property
    def heading(self) -> str:
        """Title with unit, for an axis or the head of a column."""
        return f"{self.title} ({self.unit})" if self.unit else self.title


@dataclass
class Header:
    """The contents of a file's header, as far as it could be read.

    conditions: what stands under the heading; {name} is the value of a parameter.
    rows: what one row stands for, in words.
    metrics: those that the answer rests on, for the reason where a unit has none.
    needed: columns that a narrow table shows before any other, the most needed first.
    """

    title: str = ""
    question: str = ""
    conditions: str = ""
    grain: tuple[str, ...] = ()
    rows: str = ""
    parameters: list[Parameter] = field(default_factory=list)
    columns: list[ResultColumn] = field(default_factory=list)
    metrics: tuple[str, ...] = ()
    needed: tuple[str, ...] = ()
    chart: str | None = None
    chart_options: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class HeaderLine:
    """One line of the header with its continuation lines."""

    line: int
    key: str
    value: str


def split(text: str) -> tuple[list[tuple[int, str]], str]:
    """The numbered comment lines at the top, and the whole rest, the statement."""
    lines = text.splitlines()
    end = next((n for n, line in enumerate(lines) if not line.startswith("--")), len(lines))
    return [(n + 1, lines[n]) for n in range(end)], "\n".join(lines[end:])


def read_header(text: str, file: str) -> tuple[Header, list[Fault]]:
    """The header of a file's text and everything wrong with it or between it and the statement."""
    lines, statement = split(text)
    faults: list[Fault] = []
    entries = list(_entries(lines, file, faults))
    header = Header()
    seen: dict[str, int] = {}
    for entry in entries:
        if entry.key in seen:
            again = f"a second {entry.key!r} (the first is in line {seen[entry.key]})"
            faults.append(_fault(file, entry.line, again, "each key once", "take one of them out"))
        seen[entry.key] = entry.line
        faults += _take(header, entry, file)
    faults += _missing(seen, file)
    for key, names in _columns_named(header):
        faults += _declared(header, key, names, seen.get(key, 1), file)
    faults += statement_faults(statement, len(lines) + 1, file)
    faults += _parameters_used(header, seen, statement, len(lines) + 1, file)
    return header, faults


def _entries(lines: list[tuple[int, str]], file: str, faults: list[Fault]) -> Iterator[HeaderLine]:
    entry: HeaderLine | None = None
    for number, line in lines:
        if entry is not None and line.startswith("--   "):
            entry = HeaderLine(entry.line, entry.key, f"{entry.value} {line[2:].strip()}")
            continue
        if entry is not None:
            yield entry
            entry = None
        matched = LINE.fullmatch(line.rstrip())
        if matched is None:
            faults.append(_fault(
                file, number, shortened(line), "a line of the header, such as -- title: Idle noise",
                "give it a key and a colon, or three spaces after -- to go on with the line before",
            ))  # fmt: skip
        else:
            entry = HeaderLine(number, matched["key"], matched["value"].strip())
    if entry is not None:
        yield entry


def _take(header: Header, entry: HeaderLine, file: str) -> Iterator[Fault]:
    word, _, name = entry.key.partition(" ")
    if not entry.value:
        yield _fault(file, entry.line, f"nothing after {entry.key!r}", "a text behind the colon",
                     "write it, or take the line out")  # fmt: skip
    elif entry.key in ("title", "question", "conditions"):
        setattr(header, entry.key, entry.value)
    elif entry.key == "grain":
        columns, _, rows = entry.value.partition(";")
        header.grain = tuple(part.strip() for part in columns.split(","))
        header.rows = rows.strip()
    elif entry.key == "needed":
        header.needed = tuple(part.strip() for part in entry.value.split(","))
    elif entry.key == "metric":
        yield from _metrics(header, entry, file)
    elif entry.key == "chart":
        yield from _chart(header, entry, file)
    elif word in ("parameter", "column") and NAME.fullmatch(name):
        yield from (_parameter if word == "parameter" else _column)(header, entry, name, file)
    else:
        known = f"{', '.join(KEYS)}, parameter NAME or column NAME"
        remedy = did_you_mean(word, [*KEYS, "parameter", "column"], "take the line out")
        if word in ("parameter", "column"):
            remedy = "a NAME has small letters, digits and _, and begins with a letter"
        yield _fault(file, entry.line, f"the unknown key {entry.key!r}", known, remedy)


def _metrics(header: Header, entry: HeaderLine, file: str) -> Iterator[Fault]:
    """The metrics under their keys, however they are written."""
    written = [part.strip() for part in entry.value.split(",")]
    header.metrics = tuple(key for text in written if (key := metric_key(text)))
    where = f"{file}, line {entry.line}"
    yield from (unknown_metric(where, text) for text in written if metric_key(text) is None)


def _parameter(header: Header, entry: HeaderLine, name: str, file: str) -> Iterator[Fault]:
    matched = PARAMETER.fullmatch(entry.value)
    if matched is None:
        yield _fault(file, entry.line, shortened(entry.value),
                     "a type, an equals sign and a default, such as number = 0.5; what it is",
                     "a text as default stands in ' '")  # fmt: skip
    elif matched["type"] not in TYPES:
        yield _fault(file, entry.line, f"the type {matched['type']!r}",
                     f"one of: {', '.join(TYPES)}",
                     did_you_mean(matched["type"], TYPES, "text takes anything"))  # fmt: skip
    else:
        default = matched["default"].strip("'")
        header.parameters.append(Parameter(name, matched["type"], default, matched["help"] or ""))


def _column(header: Header, entry: HeaderLine, name: str, file: str) -> Iterator[Fault]:
    unit, separator, title = entry.value.partition(";")
    if not separator or not title.strip() or not unit.strip():
        yield _fault(file, entry.line, shortened(entry.value),
                     "a unit, a semicolon and a title, such as V; Idle noise",
                     "write - as the unit where there is none")  # fmt: skip
        return
    unit = unit.strip()
    in_rows = PLACE.fullmatch(unit)
    header.columns.append(
        ResultColumn(name, "", title.strip(), in_rows[1]) if in_rows
        else ResultColumn(name, "" if unit == "-" else unit, title.strip())
    )  # fmt: skip


def _chart(header: Header, entry: HeaderLine, file: str) -> Iterator[Fault]:
    chart, *options = (part.strip() for part in entry.value.split(";"))
    header.chart = chart
    for option in options:
        key, separator, value = (part.strip() for part in option.partition("="))
        if not separator or not NAME.fullmatch(key) or not value:
            yield _fault(file, entry.line, shortened(option),
                         "an option of the chart, such as scale = log",
                         "separate options by semicolons")  # fmt: skip
        header.chart_options[key] = value


def _missing(seen: dict[str, int], file: str) -> Iterator[Fault]:
    for key in ("title", "question", "grain"):
        if key not in seen:
            yield _fault(file, 1, f"a header without {key!r}", f"the line -- {key}: …",
                         "add it at the top of the file")  # fmt: skip
    if not any(key.startswith("column ") for key in seen):
        yield _fault(file, 1, "a header without columns",
                     "a line -- column NAME: UNIT; Title for each column of the result",
                     "add them in the order of the SELECT")  # fmt: skip


def _columns_named(header: Header) -> Iterator[tuple[str, Sequence[str]]]:
    """The lines of the header that name columns, with those that they name."""
    yield "grain", header.grain
    yield "needed", header.needed
    for column in header.columns:
        if column.unit_column:
            yield f"column {column.name}", [column.unit_column]


def _declared(
    header: Header, key: str, names: Sequence[str], line: int, file: str
) -> Iterator[Fault]:
    """A fault for each column that a line names and that isn't declared."""
    known = {column.name for column in header.columns}
    where = {"grain": "the grain", "needed": "the needed columns"}.get(key, f"the unit of {key}")
    for name in names:
        if name not in known:
            remedy = did_you_mean(name, known, f"add -- column {name}: UNIT; Title")
            yield _fault(file, line, f"{name!r} in {where}", "a declared column", remedy)


def bare(statement: str) -> str:
    """The statement with text, quoted names and comments blanked; line numbers stay."""
    return UNQUOTED.sub(lambda m: " " + "\n" * m[0].count("\n"), statement)


def statement_faults(statement: str, first: int, file: str) -> Iterator[Fault]:
    """One SELECT, ordered, and nothing else; `first` is the line that it starts on."""
    code = bare(statement)
    body = code.strip().removesuffix(";")
    if not re.match(r"(SELECT|WITH|FROM)\b", body, re.IGNORECASE):
        yield _fault(file, first, shown(body), "one SELECT (or WITH … SELECT)",
                     "a saved query only reads")  # fmt: skip
    if ";" in body or "$$" in body:
        place = min(i for i in (code.find(";"), code.find("$$")) if i >= 0)
        line = first + code[:place].count("\n")
        yield _fault(file, line, "more than one statement, or $$ quoting", "one SELECT",
                     "keep one statement a file; text stands in ' '")  # fmt: skip
    if not re.search(r"\bORDER\s+BY\b", _outermost(body), re.IGNORECASE):
        yield _fault(file, first, "no ORDER BY of the result", "an order that is always the same",
                     "end the statement with ORDER BY and the columns of the grain")  # fmt: skip


def _outermost(code: str) -> str:
    """The text outside all brackets."""
    depth, kept = 0, []
    for letter in code:
        depth += letter == "("
        if depth == 0:
            kept.append(letter)
        depth -= letter == ")"
    return "".join(kept)


def _parameters_used(
    header: Header, seen: dict[str, int], statement: str, first: int, file: str
) -> Iterator[Fault]:
    code = bare(statement)
    used = {m[1]: first + code[: m.start()].count("\n") for m in
            re.finditer(r"\$(\w+)", code)}  # fmt: skip
    bound, places = set(used), PLACE.findall(header.conditions)
    used |= {name: seen["conditions"] for name in places if name not in used}
    for name, line in used.items():
        if f"parameter {name}" not in seen:
            remedy = f"add -- parameter {name}: TYPE = DEFAULT; …"
            yield _fault(file, line, f"the undeclared ${name}", "a declared parameter", remedy)
    for parameter in header.parameters:
        if parameter.name not in bound:
            line = seen[f"parameter {parameter.name}"]
            yield _fault(file, line, f"the parameter {parameter.name!r}, which is not used",
                         f"${parameter.name} in the statement",
                         "use it there, or take the line out")  # fmt: skip


def shown(text: str) -> str:
    """The beginning of a text, in one line."""
    words = " ".join(text.split())
    return repr(words[:40]) if words else MISSING


def _fault(file: str, line: int, found: str, expected: str, remedy: str = "") -> Fault:
    return Fault(f"{file}, line {line}", found, expected, remedy)
