-- title: Residual noise of one technology
-- question: How low is the A-weighted residual noise of each unit of one technology? Input
--   terminated, noisier output, newest review. Units of the marked unit's kind, amplifiers and
--   receivers being one kind; amplifiers by default.
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
-- column own_u: µV; u of record and session (k = 1)
-- column own_dof: -; Degrees of freedom
-- column shared_u: µV; u of the calibration (k = 1)
-- column shared_with: -; Calibration and output
-- column session_default: -; Spread between sessions by default
-- column peers: -; Units compared
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
    value * 1e6 AS value, low * 1e6 AS low, high * 1e6 AS high, bound, status,
    own_u * 1e6 AS own_u, own_dof, shared_u * 1e6 AS shared_u, shared_with, session_default,
    count(*) OVER () AS peers
FROM worse
JOIN peer USING (unit_key)
WHERE point_key = 'idle' AND metric = 'noise_a'
  AND (technology IN (SELECT technology FROM chosen) OR unit_key = $unit)
  AND kind_group IN (SELECT kind_group FROM chosen)
ORDER BY value, unit_key
