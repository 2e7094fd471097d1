-- title: Left and right compared
-- question: In which units do the outputs differ by more than their uncertainty? The largest
--   difference relative to its uncertainty comes first. Mono amplifiers are units of their own:
--   see samples-of-one-model.
-- grain: unit_key, metric; one row per unit and metric
-- needed: unit_key, metric, left_value, right_value, difference, difference_u
-- parameter unit: unit = ''; unit; all units where empty
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column metric: -; Metric
-- column left_value: {unit}; Left
-- column right_value: {unit}; Right
-- column difference: {unit}; Left minus right
-- column difference_u: {unit}; Standard uncertainty
-- column unit: -; Unit of measure
-- column beyond: -; Difference / expanded uncertainty
WITH wanted (metric, point_key, limit_percent) AS (
    VALUES ('noise_a', 'idle', NULL), ('thd', 'tone-1khz-5w-8ohm', NULL),
           ('thd_n', 'tone-1khz-5w-8ohm', NULL), ('power_at_limit', 'limit-1khz-8ohm', 1.0),
           ('thd', 'tone-1khz-5w-8ohm-one-driven', NULL),
           ('thd_n', 'tone-1khz-5w-8ohm-one-driven', NULL),
           ('power_at_limit', 'limit-1khz-8ohm-one-driven', 1.0),
           ('gain', 'gain-1khz', NULL), ('damping_factor', 'impedance-1khz', NULL),
           ('response_spread', 'response', NULL)
),
found AS (
    SELECT unit_key, placed.metric, output, value, placed.unit, dof, bound, detail, review_key,
           sqrt(coalesce(estimation, uncertainty) ** 2 + offset_u ** 2) AS record_u, uncertainty,
           shared_u, shared_with, input, tap, volume, load_ohm,
           if(driven = output, 'own', 'another') AS driven
    FROM placed
    JOIN wanted ON wanted.metric = placed.metric AND wanted.point_key = placed.point_key
        AND placed.limit_percent IS NOT DISTINCT FROM
            coalesce(wanted.limit_percent, placed.limit_percent)
        AND placed.detail NOT LIKE '%"harmonics"%'
    WHERE output IN ('left', 'right') AND ($unit = '' OR unit_key = $unit)
      AND placed.point_key IN ('idle', 'tone-1khz-5w-8ohm', 'limit-1khz-8ohm', 'gain-1khz',
                              'channels-1khz', 'impedance-1khz', 'response',
                              'tone-1khz-5w-8ohm-one-driven', 'limit-1khz-8ohm-one-driven')
      AND placed.metric IN ('noise_a', 'thd', 'thd_n', 'power_at_limit', 'gain',
                            'damping_factor', 'response_spread')
),
pairs AS (
    SELECT
        unit_key, metric, detail, l.value AS left_value, r.value AS right_value, l.unit,
        l.value - r.value AS difference,
        CASE WHEN l.uncertainty IS NOT NULL AND r.uncertainty IS NOT NULL THEN
            difference_u(l.record_u, l.shared_u, l.shared_with,
                         r.record_u, r.shared_u, r.shared_with) END AS difference_u,
        combined_dof(difference_u, l.record_u, l.dof, r.record_u, r.dof) AS dof,
        order_known(l.value, l.bound, r.value, r.bound) AS is_order_known
    FROM (SELECT * FROM found WHERE output = 'left') AS l
    JOIN (SELECT * FROM found WHERE output = 'right') AS r
        USING (unit_key, metric, detail, review_key)
    WHERE no_contradiction(l.input, r.input) AND no_contradiction(l.tap, r.tap)
      AND no_contradiction(l.volume, r.volume) AND no_contradiction(l.driven, r.driven)
      AND same_load(l.load_ohm, r.load_ohm)
)
SELECT
    unit_key, label, technology, metric, left_value, right_value, difference, difference_u,
    pairs.unit,
    CASE WHEN is_order_known THEN beyond_uncertainty(difference, difference_u, dof) END AS beyond
FROM pairs
JOIN peer USING (unit_key)
QUALIFY row_number() OVER (
    PARTITION BY unit_key, metric ORDER BY beyond DESC NULLS LAST, detail
) = 1
ORDER BY beyond DESC NULLS LAST, unit_key, metric
