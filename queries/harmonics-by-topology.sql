-- title: Harmonics by topology
-- question: Which harmonics do push-pull and single-ended units produce at one test point? Median
--   and quartiles over the units, worse output of each unit's newest review.
-- conditions: {point}; worse output; newest review of each unit
-- grain: technology, topology, order_n; one row per technology, topology and harmonic
-- needed: topology, order_n, median_db, units, bounds
-- parameter point: point = 'tone-1khz-5w-8ohm'; test point
-- column technology: -; Technology
-- column topology: -; Topology
-- column order_n: -; Harmonic
-- column units: -; Units
-- column bounds: -; Bounds among them
-- column lower_db: dB; Lower quartile re the fundamental
-- column median_db: dB; Median re the fundamental
-- column upper_db: dB; Upper quartile re the fundamental
WITH found AS (
    SELECT unit_key, order_n, value, bound
    FROM worse
    WHERE metric = 'harmonic' AND point_key = $point
)
SELECT
    technology, coalesce(topology, 'not stated') AS topology, order_n, count(*) AS units,
    count(bound) AS bounds, quantile_cont(value, 0.25) AS lower_db, median(value) AS median_db,
    quantile_cont(value, 0.75) AS upper_db
FROM found
JOIN peer USING (unit_key)
GROUP BY ALL
ORDER BY technology, topology, order_n
