-- title: Improvements by service or restoration
-- question: Which work improved noise, distortion or power by more than the uncertainty? Each
--   unit as received and in its newest later state.
-- conditions: worse output; noise at idle; distortion at 1 kHz, 5 W, 8 ohm; power at 1 % THD, 1
--   kHz, 8 ohm; only changes beyond the uncertainty
-- grain: unit_key, metric; one row per unit and metric
-- parameter technology: technology = ''; technology; all where empty
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
-- column gain_db: dB; Improvement
-- column state: -; State after
-- column work: -; Work done
-- chart: slope
WITH wanted (metric, point_key, factor) AS (
    VALUES ('noise_a', 'idle', 20), ('thd', 'tone-1khz-5w-8ohm', 20),
           ('power_at_limit', 'limit-1khz-8ohm', 10)
),
several AS (
    SELECT unit_key, before_key, after_key, unnest([before_key, after_key]) AS review_key
    FROM before_after
),
figures AS (
    SELECT
        unit_key, metric, metric.title, factor, value, uncertainty, metric.unit, metric.better,
        appearance.state, appearance.work, review_key = before_key AS is_before
    FROM wanted
    JOIN reading USING (metric)
    JOIN several USING (review_key, unit_key)
    JOIN reading_point USING (reading_key, review_key, point_key)
    JOIN metric USING (metric, method_version)
    JOIN appearance USING (review_key, unit_key)
    WHERE value > 0 AND coalesce(limit_percent, 1) = 1 AND detail NOT LIKE '%"harmonics"%'
    QUALIFY row_number() OVER (
        PARTITION BY review_key, unit_key, metric
        ORDER BY CASE better WHEN 'lower' THEN -value ELSE value END, output, reading_key
    ) = 1
)
SELECT
    unit_key, label, technology, metric, a.title, b.value AS before, b.uncertainty AS before_u,
    a.value AS after, a.uncertainty AS after_u, a.unit,
    a.factor * log10(a.value / b.value) * if(a.better = 'lower', -1, 1) AS gain_db,
    a.state, array_to_string(a.work, '; ') AS work
FROM (FROM figures WHERE is_before) AS b
JOIN (FROM figures WHERE NOT is_before) AS a USING (unit_key, metric)
JOIN peer USING (unit_key)
WHERE gain_db > 0
  AND abs(a.value - b.value) > 2 * sqrt(a.uncertainty ** 2 + b.uncertainty ** 2)
  AND ($technology = '' OR technology = $technology)
ORDER BY gain_db DESC, unit_key, metric
