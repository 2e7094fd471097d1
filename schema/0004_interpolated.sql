-- Readings worked out between two steps of a power sweep, for one test point alone.
ALTER TABLE reading_point ADD COLUMN interpolated BOOLEAN DEFAULT false;

DROP VIEW point_reading;
DROP VIEW worse;
DROP VIEW placed;

-- grain: test point, unit, output, against, metric, order, limit, detail, own frequency.
-- A value at a test point from the newest review that has one, at the method version in force.
CREATE VIEW placed AS
SELECT
    reading_point.point_key,
    reading_point.interpolated,
    reading.*,
    CASE WHEN test_point.frequency_hz IS NULL AND reading.order_n IS NULL
         THEN reading.frequency_hz END AS own_frequency_hz,
    review.reviewed,
    metric.unit,
    metric.better,
    CASE WHEN bound IS DISTINCT FROM 'upper' THEN value - 2 * uncertainty END AS low,
    CASE WHEN bound IS DISTINCT FROM 'lower' THEN value + 2 * uncertainty END AS high
FROM reading_point
JOIN test_point USING (point_key)
JOIN reading USING (reading_key, review_key)
JOIN review USING (review_key)
JOIN metric ON metric.metric = reading.metric
    AND metric.method_version = reading.method_version
WHERE value IS NOT NULL
QUALIFY row_number() OVER (
    PARTITION BY reading_point.point_key, unit_key, output, against, reading.metric, order_n,
                 limit_percent, detail, own_frequency_hz
    ORDER BY reviewed DESC, review_key DESC, reading_key
) = 1;

-- grain: test point, unit, metric, order, limit, own frequency: the worse of a unit's outputs
-- (by the metric's better direction; the first by name where neither is better)
CREATE VIEW worse AS
SELECT *
FROM placed
QUALIFY row_number() OVER (
    PARTITION BY point_key, unit_key, metric, order_n, limit_percent, own_frequency_hz
    ORDER BY CASE better WHEN 'lower' THEN -value WHEN 'higher' THEN value
                         WHEN 'nearer zero' THEN -abs(value) ELSE 0 END,
             output, reading_key
) = 1;
