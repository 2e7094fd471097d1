-- Further conditions of a test point; NULL is not asked for.
ALTER TABLE test_point ADD COLUMN level_v DOUBLE;        -- rms at an output without a load resistor
ALTER TABLE test_point ADD COLUMN tones_hz DOUBLE[];     -- of a two-tone stimulus
ALTER TABLE test_point ADD COLUMN metrics VARCHAR[];     -- the metrics that it is for
COMMENT ON COLUMN test_point.stimulus IS 'analysis kinds, separated by a comma and a space';

-- grain: unit, as told by its newest review; with what peers are chosen by
CREATE VIEW peer AS
SELECT
    *,
    maker || ' ' || model
        || CASE WHEN count(*) OVER (PARTITION BY maker, model) > 1
                THEN ' (' || unit_key || ')' ELSE '' END AS label,
    CASE WHEN kind IN ('integrated amplifier', 'power amplifier', 'receiver')
         THEN 'amplifiers' ELSE kind END AS kind_group,
    (made_first + made_last) / 2 AS made_year,
    made_first // 10 * 10 AS decade,
    CASE WHEN rated_power_w < 10 THEN 'under 10 W'
         WHEN rated_power_w < 30 THEN '10 W to under 30 W'
         WHEN rated_power_w < 100 THEN '30 W to under 100 W'
         WHEN rated_power_w >= 100 THEN '100 W and more' END AS power_class
FROM unit;

-- grain: test point, unit, output, against, metric, order, limit, detail, own frequency.
-- A value at a test point from the newest review that has one, at the method version in force.
CREATE VIEW placed AS
SELECT
    reading_point.point_key,
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
