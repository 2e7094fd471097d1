-- title: Units of one model
-- question: How far apart are units of one model, relative to their uncertainty? Smallest and
--   largest value of each metric at its test point, for models with two units or more; the
--   uncertainty holds for another session of each.
-- grain: maker, model, metric; one row per model and metric
-- needed: model, metric, least, greatest, least_unit, greatest_unit, beyond
-- column maker: -; Maker
-- column model: -; Model
-- column metric: -; Metric
-- column units: -; Units
-- column least: {unit}; Smallest
-- column least_unit: -; Unit with the smallest value
-- column greatest: {unit}; Largest
-- column greatest_unit: -; Unit with the largest value
-- column unit: -; Unit of measure
-- column beyond: -; Difference / expanded uncertainty
WITH wanted (metric, point_key, limit_percent) AS (
    VALUES ('noise_a', 'idle', NULL), ('thd', 'tone-1khz-5w-8ohm', NULL),
           ('power_at_limit', 'limit-1khz-8ohm', 1.0), ('gain', 'gain-1khz', NULL),
           ('damping_factor', 'impedance-1khz', NULL), ('response_spread', 'response', NULL)
),
several AS (
    SELECT unit_key, maker, model FROM peer
    QUALIFY count(*) OVER (PARTITION BY maker, model) > 1
),
found AS (
    SELECT maker, model, unit_key, metric, value, own_u, own_dof, shared_u, shared_with, bound,
           worse.unit
    FROM worse
    JOIN wanted USING (metric, point_key)
    JOIN several USING (unit_key)
    WHERE worse.metric IN ('noise_a', 'thd', 'power_at_limit', 'gain', 'damping_factor',
                           'response_spread')
      AND worse.detail NOT LIKE '%"harmonics"%'
      AND worse.limit_percent IS NOT DISTINCT FROM
          coalesce(wanted.limit_percent, worse.limit_percent)
),
ends AS (
    SELECT
        maker, model, metric, unit, count(*) AS units,
        arg_min({v: value, own: own_u, dof: own_dof, shared: shared_u, source: shared_with,
                 bound: bound, k: unit_key}, {v: value, k: unit_key}) AS a,
        arg_max({v: value, own: own_u, dof: own_dof, shared: shared_u, source: shared_with,
                 bound: bound, k: unit_key}, {v: value, k: unit_key}) AS b
    FROM found
    GROUP BY ALL
    HAVING count(*) > 1
),
compared AS (
    SELECT *, difference_u(a.own, a.shared, a.source, b.own, b.shared, b.source) AS u,
           combined_dof(u, a.own, a.dof, b.own, b.dof) AS dof
    FROM ends
)
SELECT
    maker, model, metric, units, a.v AS least, a.k AS least_unit, b.v AS greatest,
    b.k AS greatest_unit, unit,
    CASE WHEN order_known(b.v, b.bound, a.v, a.bound) THEN
        beyond_uncertainty(b.v - a.v, u, dof) END AS beyond
FROM compared
ORDER BY beyond DESC NULLS LAST, maker, model, metric
