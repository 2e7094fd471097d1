"""Marks of drawn pictures against the readings of a catalogue, by queries of their own.

    python tests/bench/marks_against_readings.py CATALOGUE

Each picture is drawn as SVG by its saved query; its marks are read off its axes by the labels of
their ticks, and each is looked for among the values of its unit that plain SQL finds in the
tables `reading` and `curve`, without the saved query and the views that it rests on. Prints marks
and those that no value explains; exits with 1 where there are such, or a picture without any mark.
"""

from __future__ import annotations

import sys
from collections.abc import Collection, Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from backbench.catalogue import Catalogue
from backbench.charts.own_queries import available
from backbench.charts.readable_marks import with_readings
from backbench.charts.svg_drawing import svg_of
from backbench.charts.unchecked import specification
from backbench.publish.sheet_charts import ChartRenderer
from read_marks import Reader, marks_of, readers

PX = 1.5
LABELS = "SELECT unit_key, label FROM peer"
READINGS = """
SELECT DISTINCT unit_key, value * {scale} FROM reading
WHERE metric = '{metric}' AND value IS NOT NULL
"""
POINTS = """
SELECT unit_key, avg(y) FROM (
    SELECT unit_key, output, review_key, analysis_key, unnest(x) AS x, unnest(y) AS y
    FROM curve WHERE curve = '{curve}'
) GROUP BY unit_key, output, review_key, analysis_key, round(20 * log10(x))
"""
DISTANCES = """
SELECT DISTINCT unit_key, abs(value) FROM reading
WHERE metric = '{metric}' AND value IS NOT NULL
"""
PICTURES = (
    ("idle-noise-of-technology", "X", "symbol", READINGS.format(scale=1e6, metric="noise_a")),
    ("quietest-of-a-kind", "X", "symbol", READINGS.format(scale=1e6, metric="noise_a")),
    ("damping-by-technology", "X", "symbol", READINGS.format(scale=1, metric="damping_factor")),
    ("damping-over-the-decades", "Y", "symbol", READINGS.format(scale=1, metric="damping_factor")),
    ("noise-against-power", "Y", "symbol", READINGS.format(scale=1e6, metric="noise_a")),
    ("noise-against-power", "X", "symbol", READINGS.format(scale=1, metric="power_at_limit")),
    ("noise-against-gain", "Y", "symbol", READINGS.format(scale=1e6, metric="noise_a")),
    ("noise-against-gain", "X", "symbol", READINGS.format(scale=1, metric="gain")),
    ("balance-against-age", "Y", "symbol", DISTANCES.format(metric="channel_balance")),
    ("power-against-price", "Y", "symbol", READINGS.format(scale=1, metric="power_at_limit")),
    ("separation-against-balance", "Y", "symbol",
     "SELECT DISTINCT unit_key, value * s FROM reading, (VALUES (1), (-1)) AS t (s) "
     "WHERE metric = 'separation' AND value IS NOT NULL"),
    ("distortion-over-power", "Y", "symbol", READINGS.format(scale=1, metric="thd")),
    ("bandwidth-by-technology", "X", "symbol",
     READINGS.format(scale=1e-3, metric="response_high_3db")),
    ("impedance-over-frequency", "Y", "line", POINTS.format(curve="source_impedance")),
)  # fmt: skip
"""Saved query, axis, kind of mark and the statement that finds the values."""


def main(folder: Path) -> int:
    """Print a line for each picture and axis. How many of them are at fault."""
    faults = 0
    catalogue = Catalogue(folder)
    with catalogue.reading() as store:
        queries = available(folder)
        renderer = ChartRenderer(store, queries, None, catalogue.settings)
        unit = str(store.rows(
            "SELECT unit_key FROM curve WHERE curve = 'source_impedance' ORDER BY unit_key LIMIT 1"
        )[0][0])  # fmt: skip
        labels = {str(key): str(label) for key, label in store.rows(LABELS)}
        for name, axis, role, statement in PICTURES:
            asks = {parameter.name for parameter in queries[name].parameters}
            values = {"unit": unit} if "unit" in asks else {}
            frame = renderer.run(name, **values)
            if "unit_key" not in frame.columns or unit not in frame["unit_key"]:
                values, frame = {}, renderer.run(name)
            spec = specification(renderer.chart(name, frame, name, values))
            svg = svg_of(spec)
            known: dict[str, list[float]] = {}
            for key, value in store.rows(statement):
                known.setdefault(labels.get(str(key), ""), []).append(float(value))
            read = places(with_readings(svg, spec), axis, role, known.keys())
            reader = readers(svg)[axis]
            lost = [at for whose, at in read if not explained(at, known.get(whose, []), reader)]
            print(f"{name}, {axis}: {len(read)} marks, {len(lost)} without a reading")
            faults += bool(lost) or not read
    return faults


def places(svg: str, axis: str, role: str, labels: Collection[str]) -> list[tuple[str, float]]:
    """Whose each mark is, and its pixel along an axis; of lines each corner."""
    side = 0 if axis == "X" else 1
    found: list[tuple[str, float]] = []
    for mark in marks_of(svg, role):
        # A mark names its unit, or its unit and output.
        names = (mark.whose, mark.whose.rpartition(", ")[0])
        label = next((name for name in names if name in labels), mark.whose)
        if label:
            points = [mark.middle] if role == "symbol" else mark.points
            found += [(label, at[side]) for at in points]
    return found


def explained(at: float, known: Sequence[float], reader: Reader) -> bool:
    """Whether some value lies within PX of a pixel."""
    low, high = sorted((reader(at - PX), reader(at + PX)))
    return any(low <= value <= high for value in known)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])) > 0)
