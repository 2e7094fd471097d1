-- title: Before and after service or restoration
-- question: What did service, restoration or modification change? Each unit as received and in
--   its newest later state, worse output, at the usual test points.
-- conditions: worse output; noise at idle; distortion at 1 kHz, 5 W, 8 ohm; power at 1 % THD, 1
--   kHz, 8 ohm
-- grain: unit_key, metric; one row per unit and metric
-- parameter unit: unit = ''; unit; all units where empty
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column metric: -; Metric
-- column title: -; Title
-- column before: -; As received
-- column before_u: -; Standard uncertainty
-- column after: -; After the work
-- column after_u: -; Standard uncertainty
-- column unit: -; Unit of measure
-- column better: -; Better
-- column beyond: -; Difference / expanded uncertainty
-- chart: slope
WITH wanted (metric, point_key, limit_percent) AS (
    VALUES ('noise_a', 'idle', NULL), ('thd', 'tone-1khz-5w-8ohm', NULL),
           ('thd_n', 'tone-1khz-5w-8ohm', NULL), ('power_at_limit', 'limit-1khz-8ohm', 1.0),
           ('channel_balance', 'channels-1khz', NULL), ('separation', 'channels-1khz', NULL),
           ('damping_factor', 'impedance-1khz', NULL), ('response_spread', 'response', NULL)
),
several AS (
    SELECT unit_key, before_key, after_key, unnest([before_key, after_key]) AS review_key
    FROM before_after
    WHERE $unit = '' OR unit_key = $unit
),
figures AS (
    SELECT
        unit_key, metric, metric.title, value, uncertainty, metric.unit, metric.better,
        review_key = before_key AS is_before
    FROM wanted
    JOIN reading USING (metric)
    JOIN several USING (review_key, unit_key)
    JOIN reading_point USING (reading_key, review_key, point_key)
    JOIN metric USING (metric, method_version)
    WHERE value IS NOT NULL
      AND reading.detail NOT LIKE '%"harmonics"%'
      AND reading.limit_percent IS NOT DISTINCT FROM
          coalesce(wanted.limit_percent, reading.limit_percent)
    QUALIFY row_number() OVER (
        PARTITION BY review_key, unit_key, metric
        ORDER BY CASE better WHEN 'lower' THEN -value WHEN 'higher' THEN value
                             ELSE -abs(value) END, output, reading_key
    ) = 1
)
SELECT
    unit_key, label, technology, metric, a.title, b.value AS before, b.uncertainty AS before_u,
    a.value AS after, a.uncertainty AS after_u, a.unit, a.better,
    abs(a.value - b.value) / nullif(2 * sqrt(a.uncertainty ** 2 + b.uncertainty ** 2), 0) AS beyond
FROM (FROM figures WHERE is_before) AS b
JOIN (FROM figures WHERE NOT is_before) AS a USING (unit_key, metric)
JOIN peer USING (unit_key)
ORDER BY unit_key, metric
