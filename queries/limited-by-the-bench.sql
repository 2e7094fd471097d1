-- title: What the bench can't resolve
-- question: In which metrics does a bench's own residual limit readings, so that they are bounds?
-- grain: bench_key, metric
-- column bench_key: -; Bench
-- column metric: -; Metric
-- column title: -; Title
-- column readings: -; Readings with a value
-- column bounds: -; Of these, bounds
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
