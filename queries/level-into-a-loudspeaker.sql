-- title: Level into a model loudspeaker
-- question: How far does a unit's output impedance let a loudspeaker's impedance shape the
--   response? A moving-coil driver's usual equivalent circuit stands for the loudspeaker: coil,
--   and one resonance; its figures are a model of our own, without a source. The output impedance
--   is known by its magnitude and taken as a resistance; where it was measured at 1 kHz alone,
--   the same at every frequency. The level that a resistor of 8 ohm gets is drawn beside it.
-- conditions: computed; model load: {coil} ohm and {coil_mh} mH, resonance of {peak} ohm at
--   {resonance} Hz, quality {quality}; output impedance as a resistance
-- grain: series, output, x; one row per load, output and frequency
-- metric: source_impedance
-- parameter unit: unit = ''; unit; where empty, the one reviewed last that has an output impedance
-- parameter coil: number = 6.4; resistance of the model's coil in ohm
-- parameter coil_mh: number = 0.5; inductance of the model's coil in mH
-- parameter peak: number = 28; what the model's resonance adds, in ohm
-- parameter resonance: number = 60; frequency of the model's resonance in Hz
-- parameter quality: number = 3; quality factor of the model's resonance
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column series: -; Load
-- column output: -; Output
-- column x: Hz; Frequency
-- column y: dB; Level at the load re no load
-- chart: overlaid; across = frequency
WITH swept AS (
    SELECT curve.*, label, reviewed
    FROM curve
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN (SELECT unit_key, label FROM peer) AS named USING (unit_key)
    JOIN review USING (review_key)
    WHERE curve = 'source_impedance' AND $unit IN ('', unit_key)
    QUALIFY row_number() OVER (
        PARTITION BY unit_key, output ORDER BY reviewed DESC, review_key DESC, len(x) DESC,
                 analysis_key
    ) = 1
),
at_one AS (
    SELECT unit_key, output, value, reviewed, label
    FROM placed
    JOIN (SELECT unit_key, label FROM peer) AS named USING (unit_key)
    WHERE metric = 'source_impedance' AND point_key = 'impedance-1khz' AND bound IS NULL
      AND $unit IN ('', unit_key)
),
marked AS (
    SELECT unit_key
    FROM (SELECT unit_key, reviewed FROM swept UNION ALL SELECT unit_key, reviewed FROM at_one)
    GROUP BY ALL ORDER BY max(reviewed) DESC, unit_key LIMIT 1
),
points AS (
    SELECT unit_key, label, output, unnest(x) AS hertz, unnest(y) AS ohm
    FROM swept
    SEMI JOIN marked USING (unit_key)
    UNION ALL
    SELECT unit_key, label, output, 1000 * pow(10, unnest(range(-34, 27)) / 20), value
    FROM at_one
    SEMI JOIN marked USING (unit_key)
    ANTI JOIN swept USING (unit_key, output)
),
source AS (
    SELECT unit_key, label, output, avg(hertz) AS x, avg(ohm) AS ohm
    FROM points
    WHERE hertz BETWEEN 17.8 AND 22387 AND ohm > 0
    GROUP BY unit_key, label, output, round(20 * log10(hertz))
),
swung AS (SELECT *, $quality * (x / $resonance - $resonance / x) AS off FROM source),
loaded AS (
    SELECT *, 1 AS place, '8 ohm resistor' AS series, 8.0 AS real_ohm, 0.0 AS imaginary_ohm
    FROM swung
    UNION ALL
    SELECT *, 2, 'model loudspeaker', $coil + $peak / (1 + off ** 2),
           2 * pi() * x * $coil_mh / 1000 - $peak * off / (1 + off ** 2)
    FROM swung
)
SELECT
    unit_key, label, series, output, x,
    10 * log10((real_ohm ** 2 + imaginary_ohm ** 2)
               / ((real_ohm + ohm) ** 2 + imaginary_ohm ** 2)) AS y
FROM loaded
ORDER BY place, output, x
