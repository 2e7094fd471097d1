-- title: Published figures and what they can be held against
-- question: Which published figures has the catalogue a reading for in the same review, whatever
--   its conditions? The verdicts themselves are given by `backbench compare`.
-- grain: review_key, unit_key, position
-- parameter unit: unit = ''; one unit; all where empty
-- column review_key: -; Review
-- column unit_key: -; Unit
-- column position: -; Position among the figures
-- column label: -; Maker and model
-- column metric: -; Metric
-- column promised: -; Promised
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
