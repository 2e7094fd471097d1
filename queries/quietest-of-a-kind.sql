-- title: Units with the lowest noise of a technology and kind
-- question: Which units of one technology and kind have the lowest A-weighted residual noise?
-- conditions: {technology}; {kind}; idle, input terminated; noisier output
-- grain: unit_key; one row per unit
-- metric: noise_a
-- parameter technology: technology = ''; technology; where empty, that of the marked unit,
--   otherwise the most common one
-- parameter kind: text = ''; kind; where empty, that of the marked unit, otherwise
--   amplifiers and receivers together
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
        nullif($kind, ''),
        (SELECT kind_group FROM peer WHERE unit_key = $unit),
        'amplifiers'
    ) AS kind
)
SELECT
    unit_key, label, technology, value * 1e6 AS value, low * 1e6 AS low, high * 1e6 AS high,
    bound, unit_key = $unit AS marked, own_u * 1e6 AS own_u, own_dof, shared_u * 1e6 AS shared_u,
    shared_with, session_default, count(*) OVER () AS peers
FROM worse
JOIN peer USING (unit_key)
WHERE point_key = 'idle' AND metric = 'noise_a' 
  AND technology IN (SELECT technology FROM chosen)
  AND (kind_group IN (SELECT kind FROM chosen) OR peer.kind IN (SELECT kind FROM chosen))
ORDER BY value, unit_key
LIMIT $most
