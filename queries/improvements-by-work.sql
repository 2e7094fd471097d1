-- title: Improvements by service or restoration
-- question: Which work improved noise, distortion or power by more than the uncertainty? Each
--   unit as received and in its newest later state, under equal conditions; of several outputs the
--   one that improved most surely.
-- conditions: one output before and after; noise at idle; distortion at 1 kHz, 5 W, 8 Ω; power
--   at 1 % THD, 1 kHz, 8 Ω; only changes beyond the uncertainty, another session's in it
-- grain: unit_key, metric; one row per unit and metric
-- needed: unit_key, title, before, after, gain_db, work, state, output
-- parameter technology: technology = ''; technology; all where empty
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
-- column gain_db: dB; Improvement
-- column beyond: -; Difference / expanded uncertainty
-- column state: -; State after
-- column work: -; Work done
-- chart: slope
WITH differences AS (
    -- each by itself: what is asked of a metric and a point reaches the readings, of several doesn't
    SELECT *, 20 AS factor FROM work_difference
    WHERE metric = 'noise_a' AND point_key = 'idle'
    UNION ALL
    SELECT *, 20 FROM work_difference
    WHERE metric = 'thd' AND point_key = 'tone-1khz-5w-8ohm'
    UNION ALL
    SELECT *, 10 FROM work_difference
    WHERE metric = 'power_at_limit' AND point_key = 'limit-1khz-8ohm'
)
SELECT
    unit_key, label, peer.technology, metric, metric.title, output, before, before_u, after,
    after_u, differences.unit, factor * abs(log10(after / before)) AS gain_db, beyond,
    appearance.state, array_to_string(appearance.work, '; ') AS work
FROM differences
JOIN metric USING (metric)
JOIN peer USING (unit_key)
JOIN appearance ON appearance.unit_key = differences.unit_key
    AND appearance.review_key = after_key
WHERE assessment = 'better' AND before > 0 AND after > 0
  AND coalesce(limit_percent, 1) = 1 AND detail NOT LIKE '%"harmonics"%'
  AND ($technology = '' OR peer.technology = $technology)
QUALIFY row_number() OVER (
    PARTITION BY unit_key, metric ORDER BY beyond DESC, output, detail
) = 1
ORDER BY gain_db DESC, unit_key, metric
