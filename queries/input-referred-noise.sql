-- title: Input-referred noise
-- question: How low is the noise of each unit once its gain is divided out? A-weighted output
--   noise divided by the gain of the same output at 1 kHz, noisier output, one technology.
-- conditions: {technology}; idle, input terminated; gain at 1 kHz; noisier output; newest review
-- grain: unit_key; one row per unit
-- metric: noise_a, gain
-- parameter technology: technology = ''; technology; where empty, that of the marked unit,
--   otherwise the most common one
-- parameter unit: unit = ''; unit to mark, shown whatever its technology
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column value: µV; Input-referred noise, A-weighted
-- column low: µV; Lower limit (k = 2)
-- column high: µV; Upper limit (k = 2)
-- column bound: -; Bound
-- column gain_db: dB; Gain at 1 kHz
-- chart: ranked; scale = log
WITH chosen AS (
    SELECT coalesce(
        nullif($technology, ''),
        (SELECT technology FROM peer WHERE unit_key = $unit),
        (SELECT technology FROM peer GROUP BY ALL ORDER BY count(*) DESC, technology LIMIT 1)
    ) AS technology
),
referred AS (
    SELECT
        unit_key, output, gain.value AS gain_db, noise.bound,
        noise.value * 1e6 / pow(10, gain.value / 20) AS value,
        noise.value * 1e6 / pow(10, gain.value / 20)
            * sqrt((noise.uncertainty / noise.value) ** 2
                   + (gain.uncertainty * ln(10) / 20) ** 2) AS u
    FROM (SELECT * FROM placed WHERE point_key = 'idle' AND metric = 'noise_a') AS noise
    JOIN (SELECT * FROM placed WHERE point_key = 'gain-1khz' AND metric = 'gain') AS gain
      USING (unit_key, output)
    WHERE noise.value > 0
)
SELECT
    unit_key, label, technology, value,
    CASE WHEN bound IS DISTINCT FROM 'upper' THEN value - 2 * u END AS low, value + 2 * u AS high,
    bound, gain_db
FROM referred
JOIN peer USING (unit_key)
WHERE technology IN (FROM chosen) OR unit_key = $unit
QUALIFY row_number() OVER (PARTITION BY unit_key ORDER BY value DESC, output, gain_db) = 1
ORDER BY value, unit_key
