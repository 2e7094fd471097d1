-- title: Left and right compared
-- question: In which units do the outputs differ by more than their uncertainty? The largest
--   difference relative to its uncertainty comes first. Mono amplifiers are units of their own:
--   see samples-of-one-model.
-- grain: unit_key, metric; one row per unit and metric
-- parameter unit: unit = ''; unit; all units where empty
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column metric: -; Metric
-- column left_value: -; Left
-- column right_value: -; Right
-- column difference: -; Left minus right
-- column difference_u: -; Standard uncertainty
-- column unit: -; Unit of measure
-- column beyond: -; Difference / expanded uncertainty
WITH wanted (metric, point_key, limit_percent) AS (
    VALUES ('noise_a', 'idle', NULL), ('thd', 'tone-1khz-5w-8ohm', NULL),
           ('thd_n', 'tone-1khz-5w-8ohm', NULL), ('power_at_limit', 'limit-1khz-8ohm', 1.0),
           ('gain', 'gain-1khz', NULL), ('damping_factor', 'impedance-1khz', NULL),
           ('response_spread', 'response', NULL)
),
found AS (
    SELECT unit_key, placed.metric, output, value, uncertainty, placed.unit
    FROM placed
    JOIN wanted ON wanted.metric = placed.metric AND wanted.point_key = placed.point_key
        AND placed.limit_percent IS NOT DISTINCT FROM
            coalesce(wanted.limit_percent, placed.limit_percent)
        AND placed.detail NOT LIKE '%"harmonics"%'
    WHERE output IN ('left', 'right') AND ($unit = '' OR unit_key = $unit)
      AND placed.point_key IN ('idle', 'tone-1khz-5w-8ohm', 'limit-1khz-8ohm', 'gain-1khz',
                              'channels-1khz', 'impedance-1khz', 'response')
      AND placed.metric IN ('noise_a', 'thd', 'thd_n', 'power_at_limit', 'gain',
                            'damping_factor', 'response_spread')
    QUALIFY row_number() OVER (
        PARTITION BY unit_key, placed.metric, output ORDER BY detail, reading_key) = 1
)
SELECT
    unit_key, label, technology, metric, l.value AS left_value, r.value AS right_value,
    l.value - r.value AS difference, sqrt(l.uncertainty ** 2 + r.uncertainty ** 2) AS difference_u,
    l.unit, abs(difference) / nullif(2 * difference_u, 0) AS beyond
FROM (SELECT * FROM found WHERE output = 'left') AS l
JOIN (SELECT * FROM found WHERE output = 'right') AS r USING (unit_key, metric)
JOIN peer USING (unit_key)
ORDER BY beyond DESC NULLS LAST, unit_key, metric
