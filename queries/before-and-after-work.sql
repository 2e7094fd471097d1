-- title: Before and after service or restoration
-- question: What did service, restoration or modification change? Each unit as received and in
--   its newest later state, under equal conditions at the usual test points; of several outputs
--   the one that changed most surely.
-- conditions: one output before and after; noise at idle; distortion at 1 kHz, 5 W, 8 Ω; power
--   at 1 % THD, 1 kHz, 8 Ω; uncertainties with that of another session in them
-- grain: unit_key, metric; one row per unit and metric
-- needed: unit_key, title, difference, assessment, before, after, output
-- parameter unit: unit = ''; unit; all units where empty
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column metric: -; Metric
-- column title: -; Title
-- column output: -; Output
-- column before: {unit}; As received
-- column before_u: {unit}; Standard uncertainty
-- column after: {unit}; After the work
-- column after_u: {unit}; Standard uncertainty
-- column unit: -; Unit of measure
-- column better: -; Better direction
-- column difference: {unit}; Change
-- column difference_u: {unit}; Standard uncertainty of the change
-- column beyond: -; Difference / expanded uncertainty
-- column assessment: -; Assessment
-- chart: slope
WITH wanted (metric, point_key, limit_percent) AS (
    VALUES ('noise_a', 'idle', NULL), ('thd', 'tone-1khz-5w-8ohm', NULL),
           ('thd_n', 'tone-1khz-5w-8ohm', NULL), ('power_at_limit', 'limit-1khz-8ohm', 1.0),
           ('channel_balance', 'channels-1khz', NULL), ('separation', 'channels-1khz', NULL),
           ('damping_factor', 'impedance-1khz', NULL), ('response_spread', 'response', NULL)
)
SELECT
    unit_key, label, technology, metric, metric.title, output, before, before_u, after, after_u,
    work_difference.unit, work_difference.better, difference, difference_u, beyond, assessment
FROM work_difference
JOIN wanted USING (metric, point_key)
JOIN metric USING (metric)
JOIN peer USING (unit_key)
WHERE ($unit = '' OR unit_key = $unit)
  AND work_difference.detail NOT LIKE '%"harmonics"%'
  AND work_difference.limit_percent IS NOT DISTINCT FROM
      coalesce(wanted.limit_percent, work_difference.limit_percent)
QUALIFY row_number() OVER (
    PARTITION BY unit_key, metric ORDER BY beyond DESC NULLS LAST, output, detail
) = 1
ORDER BY unit_key, metric
