-- title: Specifications that have a reading
-- question: For which specifications does the same review have a reading of the metric, whatever
--   its conditions? `backbench compare` gives the verdicts.
-- grain: review_key, unit_key, position; one row per specification of a unit in a review
-- needed: unit_key, metric, promised, readings, review_key
-- parameter unit: unit = ''; unit; all units where empty
-- column review_key: -; Review
-- column unit_key: -; Unit
-- column position: -; Position among the specifications
-- column label: -; Maker and model
-- column metric: -; Metric
-- column promised: -; Specified
-- column printed_in: -; Printed in
-- column readings: -; Readings of the metric
WITH counted AS (
    SELECT review_key, unit_key, metric, count(value) AS readings
    FROM reading
    WHERE metric IN (SELECT metric FROM published)
    GROUP BY ALL
)
SELECT
    review_key, unit_key, published.position, label, metric, side || ' ' || printed AS promised,
    printed_in, coalesce(readings, 0) AS readings
FROM published
JOIN (SELECT unit_key, label FROM peer) USING (unit_key)
LEFT JOIN counted USING (review_key, unit_key, metric)
WHERE $unit = '' OR unit_key = $unit
ORDER BY review_key, unit_key, position
