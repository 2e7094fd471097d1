-- title: Measured quantities and test points
-- question: How many units have each metric at each test point, and how many of these values are
--   bounds or were entered from old records?
-- grain: metric, point_key; one row per metric and test point
-- needed: metric, point_key, units, readings
-- column metric: -; Metric
-- column point_key: -; Test point
-- column units: -; Units
-- column readings: -; Readings
-- column bounds: -; Bounds
-- column entered: -; Entered
-- column newest: -; Newest review
SELECT
    metric, point_key, count(DISTINCT unit_key) AS units, count(*) AS readings,
    count(bound) AS bounds, count(*) FILTER (status = 'entered') AS entered,
    max(review.reviewed) AS newest
FROM reading_point
JOIN reading USING (reading_key, review_key)
JOIN review USING (review_key)
WHERE value IS NOT NULL
GROUP BY metric, point_key
ORDER BY metric, point_key
