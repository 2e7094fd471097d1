"""How a chart is declared, and what it is handed.

A chart is one decorated function in one file of this package. Discovery is in registry.py;
a new chart is registered nowhere else.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import altair as alt
import polars as pl
from polars import selectors

from backbench.charts.bounded_values import limited_units
from backbench.charts.drawing import PAGE, ChartInput, Labels, Size
from backbench.charts.page_layout import message_chart
from backbench.charts.unchecked import unchecked
from backbench.errors import MISSING, Fault, UserError
from backbench.quantities.counts import counted

MOST_ROWS = 5000


@dataclass(frozen=True)
class Option:
    """A choice that a saved query may make for its chart; the first choice is the default."""

    name: str
    choices: tuple[str, ...]
    meaning: str


@dataclass(frozen=True)
class Chart:
    """A declared chart. `draw` is its public face; `paint` is the decorated function."""

    name: str
    purpose: str
    columns: tuple[str, ...]
    optional: tuple[str, ...]
    options: tuple[Option, ...]
    paint: Callable[[ChartInput], alt.LayerChart] = field(repr=False)
    finding: Callable[[ChartInput], str] | None = field(repr=False, default=None)

    def draw(
        self,
        frame: pl.DataFrame,
        labels: Labels,
        subject: str = "",
        size: Size = PAGE,
        options: Mapping[str, str] | None = None,
    ) -> alt.TopLevelMixin:
        """The chart of a frame, with the rows of unit `subject` as its one strong mark.

        Rows that lack a needed number are left out by the chart; a frame without any rows
        gives a picture that says so in a sentence. Raises UserError for missing columns, an
        unknown option, or more than MOST_ROWS rows.
        """
        chosen = self._check(frame, options or {})
        with unchecked():
            return self._drawn(ChartInput(_plain(frame), labels, subject, size, chosen))

    def _drawn(self, chart_input: ChartInput) -> alt.LayerChart:
        frame, subject = chart_input.frame, chart_input.subject
        of_units = bool(subject) and "unit_key" in frame.columns
        if of_units and subject not in frame["unit_key"]:
            return message_chart(chart_input, _missing_subject(chart_input))
        if frame.is_empty():
            return message_chart(chart_input, "No unit in the catalogue has a value for this yet.")
        finding = self.finding(chart_input) if self.finding else ""
        if of_units and self.finding and not finding:
            return message_chart(chart_input, _missing_subject(chart_input))
        if finding:
            chart_input = replace(chart_input, labels=chart_input.labels.headed(finding))
        labels = chart_input.labels.noted(limited_units(frame))
        return self.paint(replace(chart_input, labels=labels))

    def _check(self, frame: pl.DataFrame, options: Mapping[str, str]) -> dict[str, str]:
        faults = [
            Fault(f"column {name}", MISSING, "a column of the query", "add it to the SELECT")
            for name in self.columns
            if name not in frame.columns
        ]
        faults += self.option_faults(options)
        if frame.height > MOST_ROWS:
            remedy = "aggregate in the query's SQL"
            expected = f"at most {MOST_ROWS}"
            faults.append(Fault("rows", str(frame.height), expected, remedy))
        if faults:
            raise UserError(f"the chart {self.name} can't be drawn", faults)
        return {option.name: option.choices[0] for option in self.options} | dict(options)

    def option_faults(self, options: Mapping[str, str], where: str = "") -> list[Fault]:
        """A fault for each option that the chart hasn't, or not with this value."""
        known = {option.name: option.choices for option in self.options}
        return [
            Fault(f"{where}, option {name}".removeprefix(", "), value,
                  " or ".join(known.get(name, tuple(known) or ("no option",))))
            for name, value in options.items()
            if value not in known.get(name, ())
        ]  # fmt: skip


MOST_NAMED = 4
"""Units that have a value, named where the one in question has none."""


def _missing_subject(chart_input: ChartInput) -> str:
    """Why the unit in question isn't drawn, and which units have a value."""
    reason = chart_input.labels.missing or f"{chart_input.subject} has no value here."
    frame = chart_input.frame.filter(pl.col("unit_key") != chart_input.subject)
    names = list(dict.fromkeys(frame["label"].drop_nulls())) if "label" in frame.columns else []
    if not names:
        return reason
    more = len(names) - MOST_NAMED
    others = ", ".join(names[:MOST_NAMED]) + (f" and {counted(more, 'other unit')}" * (more > 0))
    return f"{reason} Measured: {others}."


def _plain(frame: pl.DataFrame) -> pl.DataFrame:
    """Decimals as floats, and what is not finite as missing: neither can be drawn as it is."""
    floats = frame.with_columns(selectors.decimal().cast(pl.Float64))
    numbers = selectors.float()
    return floats.with_columns(pl.when(numbers.is_finite()).then(numbers).name.keep())


def chart(
    name: str,
    columns: tuple[str, ...],
    optional: tuple[str, ...] = (),
    options: tuple[Option, ...] = (),
    finding: Callable[[ChartInput], str] | None = None,
) -> Callable[[Callable[[ChartInput], alt.LayerChart]], Chart]:
    """Declare the decorated function as a chart; its first docstring line is the purpose.

    finding: the heading that says what the picture shows; "" where it shows nothing in
    particular, or where the unit in question has no value that can be drawn.
    It is drawn at the size of a page and at PHONE (`PlotArea.narrow`), at a height of its own.
    """

    def declare(paint: Callable[[ChartInput], alt.LayerChart]) -> Chart:
        purpose = (paint.__doc__ or "").strip().splitlines()[0]
        return Chart(
            name=name,
            purpose=purpose,
            columns=columns,
            optional=optional,
            options=options,
            paint=paint,
            finding=finding,
        )

    return declare
