-- title: Input-referred noise
-- question: How low is the noise of each unit once its gain is divided out? A-weighted output
--   noise divided by the gain of the same output at 1 kHz, noisier output, one technology. Units of
--   the marked unit's kind, amplifiers and receivers being one kind; amplifiers by default.
-- conditions: {technology}; idle, input terminated; gain at 1 kHz; noisier output; newest review
-- grain: unit_key; one row per unit
-- metric: input_referred_noise
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
),
noisier AS (
    SELECT * FROM placed
    WHERE point_key = 'idle' AND metric = 'input_referred_noise'
      AND detail NOT LIKE '%"weighting":"none"%'
    QUALIFY row_number() OVER (PARTITION BY unit_key ORDER BY value DESC, output, reading_key) = 1
)
SELECT
    unit_key, label, technology,
    value * 1e6 AS value, low * 1e6 AS low, high * 1e6 AS high, bound, status,
    own_u * 1e6 AS own_u, own_dof, shared_u * 1e6 AS shared_u, shared_with, session_default,
    count(*) OVER () AS peers
FROM noisier
JOIN peer USING (unit_key)
WHERE (technology IN (SELECT technology FROM chosen) OR unit_key = $unit)
  AND kind_group IN (SELECT kind_group FROM chosen)
ORDER BY value, unit_key
