-- title: Residual noise of one technology
-- question: How low is the A-weighted residual noise of each unit of one technology? Input
--   terminated, noisier output, newest review.
-- conditions: {technology}; idle, input terminated; noisier output; newest review
-- grain: unit_key; one row per unit
-- metric: noise_a
-- parameter technology: technology = ''; technology; where empty, that of the marked unit,
--   otherwise the most common one
-- parameter unit: unit = ''; unit to mark, shown whatever its technology
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column value: µV; Residual noise, A-weighted
-- column low: µV; Lower limit (k = 2)
-- column high: µV; Upper limit (k = 2)
-- column bound: -; Bound
-- column status: -; Status
-- chart: ranked; scale = log
WITH chosen AS (
    SELECT coalesce(
        nullif($technology, ''),
        (SELECT technology FROM peer WHERE unit_key = $unit),
        (SELECT technology FROM peer GROUP BY ALL ORDER BY count(*) DESC, technology LIMIT 1)
    ) AS technology
)
SELECT
    unit_key, label, technology,
    value * 1e6 AS value, low * 1e6 AS low, high * 1e6 AS high, bound, status
FROM worse
JOIN peer USING (unit_key)
WHERE point_key = 'idle' AND metric = 'noise_a'
  AND (technology IN (FROM chosen) OR unit_key = $unit)
ORDER BY value, unit_key
