-- title: Values entered from old records
-- question: Which values were entered from old records instead of being measured from a capture?
-- grain: reading_key; one row per reading
-- needed: unit_key, metric, output, value, reviewed
-- column reading_key: -; Reading
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column metric: -; Metric
-- column output: -; Output
-- column value: {unit}; Value
-- column uncertainty: {unit}; Standard uncertainty
-- column unit: -; Unit of measure
-- column reviewed: -; Reviewed
SELECT
    reading_key, unit_key, label, metric, output, value, uncertainty, metric.unit, review.reviewed
FROM reading
JOIN metric USING (metric)
JOIN review USING (review_key)
JOIN (SELECT unit_key, label FROM peer) USING (unit_key)
WHERE status = 'entered'
ORDER BY unit_key, metric, output, reading_key
