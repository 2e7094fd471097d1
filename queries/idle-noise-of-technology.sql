-- title: Residual noise of one technology
-- question: How quiet is each unit of a technology with its input terminated, A-weighted,
--   and where does one of them stand? The noisier output of each unit, from its newest
--   review; units of the marked one's group of kinds, or else amplifiers and receivers.
-- conditions: {technology}; idle, input terminated; the noisier output; newest review
-- grain: unit_key
-- parameter technology: technology = ''; which; where empty that of the marked unit, or else the
--   commonest
-- parameter unit: unit = ''; a unit to mark and to show whatever its technology
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column value: µV; Residual noise, A-weighted
-- column low: µV; Low (k = 2)
-- column high: µV; High (k = 2)
-- column bound: -; Bound
-- column status: -; Status
-- chart: ranked; scale = log
WITH chosen AS (
    SELECT coalesce(
        nullif($technology, ''),
        (SELECT technology FROM peer WHERE unit_key = $unit),
        (SELECT technology FROM peer GROUP BY ALL ORDER BY count(*) DESC, technology LIMIT 1)
    ) AS technology,
    coalesce(
        (SELECT kind_group FROM peer WHERE unit_key = $unit), 'amplifiers'
    ) AS kind_group
)
SELECT
    unit_key, label, technology,
    value * 1e6 AS value, low * 1e6 AS low, high * 1e6 AS high, bound, status
FROM worse
JOIN peer USING (unit_key)
WHERE point_key = 'idle' AND metric = 'noise_a'
  AND (technology IN (SELECT technology FROM chosen) OR unit_key = $unit)
  AND kind_group IN (SELECT kind_group FROM chosen)
ORDER BY value, unit_key
