-- title: Readings limited by the bench
-- question: In which metrics does the bench's own residual limit the readings, so that they are
--   bounds?
-- grain: bench_key, metric; one row per bench and metric
-- column bench_key: -; Bench
-- column metric: -; Metric
-- column title: -; Title
-- column readings: -; Readings with a value
-- column bounds: -; Bounds among them
-- column share: %; Share of bounds
SELECT
    bench_key, metric, metric.title, count(*) AS readings, count(bound) AS bounds,
    100 * count(bound) / count(*) AS share
FROM reading
JOIN review USING (review_key)
JOIN metric USING (metric, method_version)
WHERE value IS NOT NULL AND unit_key <> ''
GROUP BY ALL
HAVING count(bound) > 0
ORDER BY share DESC, bench_key, metric
