"""Curves that the page for setting units side by side lays over each other."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from backbench.metrics.registry import registry
from backbench.publish.render import json_text

if TYPE_CHECKING:
    from backbench.metrics.traits import CurveTraits
    from backbench.storage.database import Database

MOST_BYTES = 1_200_000
"""Where all curves take more, the page has none, and says where they are drawn."""
STANDING = """
SELECT curve.* FROM curve
SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
JOIN review USING (review_key)
WHERE curve = $curve
QUALIFY row_number() OVER (
    PARTITION BY unit_key, output ORDER BY reviewed DESC, review_key DESC, analysis_key
) = 1
"""
RESPONSE = f"""
WITH points AS (
    SELECT unit_key, output, unnest(x) AS hertz, unnest(y) AS level,
           unnest(coalesce(uncertainty, list_transform(x, lambda f: NULL::DOUBLE))) AS u
    FROM ({STANDING})
)
SELECT unit_key, output, 1000 * pow(10, round(10 * log10(hertz / 1000)) / 10) AS x,
       avg(level) AS y, avg(u) AS y_u
FROM points WHERE hertz BETWEEN 17.8 AND 22387
GROUP BY ALL ORDER BY unit_key, output, x
"""
NOISE = f"""
WITH points AS (
    SELECT unit_key, output, unnest(x) AS hertz, unnest(y) AS level
    FROM ({STANDING}) WHERE y_unit = 'dBV/√Hz'
)
SELECT unit_key, output, 1000 * pow(10, round(10 * log10(hertz / 1000)) / 10) AS x,
       10 * log10(avg(pow(10, level / 10))) AS y, NULL::DOUBLE AS y_u
FROM points WHERE hertz BETWEEN 17.8 AND 22387
GROUP BY ALL ORDER BY unit_key, output, x
"""
KINDS: tuple[Mapping[str, str | bool], ...] = (
    {"title": "Response", "conditions": "dB re 1 kHz, means over third octaves", "unit": "dB",
     "x_unit": "Hz", "log": False},
    {"title": "THD against power", "conditions": "1 kHz, 8 Ω, bounds left out", "unit": "%",
     "x_unit": "W", "log": True},
    {"title": "Noise at idle",
     "conditions": "input terminated, mean power density over third octaves, hum included",
     "unit": "dBV/√Hz", "x_unit": "Hz", "log": False},
)  # fmt: skip
DISTORTION = """
WITH found AS (
    SELECT reading.*, reviewed FROM reading
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN review USING (review_key)
    JOIN metric ON metric.metric = reading.metric
        AND metric.method_version = reading.method_version
    WHERE reading.metric IN (SELECT unnest($metrics))
      AND stimulus IN ('tone', 'steps', 'distortion table')
      AND value > 0 AND bound IS NULL AND frequency_hz BETWEEN 990 AND 1010 AND power_w > 0
      AND load_kind = 'resistor' AND load_ohm BETWEEN 7.6 AND 8.4
      AND NOT starts_with(coalesce(reading.reason, ''), 'interpolated')
      AND reading.detail NOT LIKE '%"harmonics"%'
    QUALIFY dense_rank() OVER (
        PARTITION BY unit_key ORDER BY status = 'entered', reviewed DESC, review_key DESC
    ) = 1
)
SELECT unit_key, output, power_w AS x, value AS y, uncertainty AS y_u FROM found
QUALIFY row_number() OVER (
    PARTITION BY unit_key, output, power_w ORDER BY stimulus = 'steps', reading_key
) = 1
ORDER BY unit_key, output, x
"""


def _curve(trait: Callable[[CurveTraits], bool]) -> str:
    """The one curve with a trait."""
    (name,) = [one.name for one in registry().curves.values() if trait(one.traits)]
    return name


def compared_curves(store: Database, positions: Mapping[str, int]) -> list[dict[str, Any]]:
    """Response, distortion over power and noise of every unit in its present state.

    positions: of the units on the page, by which curves are keyed: output, abscissae, values and
    standard uncertainties. Empty where they take more than MOST_BYTES.
    """
    found = (
        store.frame(RESPONSE, {"curve": _curve(lambda t: t.role == "level over frequency")}),
        store.frame(
            DISTORTION, {"metrics": [*registry().having(lambda traits: traits.drawn_over_power)]}
        ),
        store.frame(NOISE, {"curve": _curve(lambda t: t.noise_at_idle)}),
    )
    sets = []
    for kind, frame in zip(KINDS, found, strict=True):
        of: dict[str, dict[str, list[list[float | None]]]] = {}
        for row in frame.iter_rows(named=True):
            if row["unit_key"] not in positions:
                continue
            own = of.setdefault(str(positions[row["unit_key"]]), {})
            curve = own.setdefault(row["output"] or "measured", [[], [], []])
            for values, value in zip(curve, (row["x"], row["y"], row["y_u"]), strict=True):
                values.append(None if value is None else float(f"{value:.5g}"))
        sets.append({**kind, "of": of})
    return sets if len(json_text(sets)) <= MOST_BYTES else []
