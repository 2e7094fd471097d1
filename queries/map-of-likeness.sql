-- title: A map of likeness
-- question: Which units measure alike, whatever their names and years? Half a dozen figures of each
--   unit; units of the marked unit's kind, amplifiers and receivers being one kind; amplifiers by
--   default.
-- conditions: 1 kHz into 8 Ω; THD at 5 W, power at 1 % THD; worse output; newest review
-- grain: unit_key, metric; one row per unit and figure
-- needed: label, title, value, bound
-- parameter unit: unit = ''; unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column model: -; Model
-- column technology: -; Technology
-- column metric: -; Metric
-- column title: -; Figure
-- column value: {unit}; Value
-- column bound: -; Bound
-- column unit: -; Unit of measure
-- column marked: -; Marked unit
-- chart: likeness
WITH wanted (metric, point_key, limit_percent) AS (
    VALUES ('noise_a', 'idle', NULL), ('thd', 'tone-1khz-5w-8ohm', NULL),
           ('damping_factor', 'impedance-1khz', NULL), ('power_at_limit', 'limit-1khz-8ohm', 1.0),
           ('response_spread', 'response', NULL), ('gain', 'gain-1khz', NULL)
),
chosen AS (
    SELECT unit_key, label, maker || ' ' || model AS model, technology
    FROM peer
    WHERE kind_group = coalesce(
        (SELECT kind_group FROM peer WHERE unit_key = $unit), 'amplifiers'
    )
),
found AS (
    SELECT worse.unit_key, worse.metric, value, bound
    FROM worse
    JOIN wanted ON wanted.metric = worse.metric AND wanted.point_key = worse.point_key
        AND worse.limit_percent IS NOT DISTINCT FROM wanted.limit_percent
    WHERE detail NOT LIKE '%"harmonics"%'
      AND worse.point_key IN ('idle', 'tone-1khz-5w-8ohm', 'impedance-1khz', 'limit-1khz-8ohm',
                              'response', 'gain-1khz')
      AND worse.metric IN ('noise_a', 'thd', 'damping_factor', 'power_at_limit',
                           'response_spread', 'gain')
    QUALIFY row_number() OVER (PARTITION BY worse.unit_key, worse.metric ORDER BY value) = 1
)
SELECT
    unit_key, label, model, technology, metric, metric.title AS title, value, bound, metric.unit AS unit,
    unit_key = $unit AS marked
FROM chosen
CROSS JOIN wanted
JOIN metric USING (metric)
LEFT JOIN found USING (unit_key, metric)
WHERE metric IN (SELECT metric FROM found)
ORDER BY unit_key, metric
