-- title: Units with the lowest noise of a technology and kind
-- question: Which units of one technology and kind have the lowest A-weighted residual noise?
-- conditions: {technology}; {kind}; idle, input terminated; noisier output
-- grain: unit_key; one row per unit
-- metric: noise_a
-- parameter technology: technology = ''; technology; where empty, that of the marked unit,
--   otherwise the most common one
-- parameter kind: text = ''; kind; where empty, that of the marked unit, otherwise integrated
--   amplifiers
-- parameter most: integer = 20; greatest number of rows
-- parameter unit: unit = ''; unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column value: µV; Residual noise, A-weighted
-- column low: µV; Lower limit (k = 2)
-- column high: µV; Upper limit (k = 2)
-- column bound: -; Bound
-- column marked: -; Marked unit
-- chart: ranked; scale = log
WITH chosen AS (
    SELECT coalesce(
        nullif($technology, ''),
        (SELECT technology FROM peer WHERE unit_key = $unit),
        (SELECT technology FROM peer GROUP BY ALL ORDER BY count(*) DESC, technology LIMIT 1)
    ) AS technology,
    coalesce(
        nullif($kind, ''),
        (SELECT kind FROM peer WHERE unit_key = $unit),
        'integrated amplifier'
    ) AS kind
)
SELECT
    unit_key, label, technology, value * 1e6 AS value, low * 1e6 AS low, high * 1e6 AS high,
    bound, unit_key = $unit AS marked
FROM worse
JOIN peer USING (unit_key)
WHERE point_key = 'idle' AND metric = 'noise_a' 
  AND (technology, kind) IN (SELECT (technology, kind) FROM chosen)
ORDER BY value, unit_key
LIMIT $most
