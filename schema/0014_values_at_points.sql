-- What every comparison reads of the readings at test points is kept as a table, since working it
-- out takes longer than all else that a comparison does. It is renewed for the units of whatever
-- is loaded; what the spread between sessions adds is not in it, for that changes with any review.
CREATE VIEW worked_out_at_point AS
WITH valued AS (
    SELECT
        reading_point.point_key,
        reading_point.interpolated,
        reading.*,
        CASE WHEN test_point.frequency_hz IS NULL AND reading.order_n IS NULL
             THEN reading.frequency_hz END AS own_frequency_hz,
        unit_period.reviewed,
        unit_period.standing,
        unit_period.headed,
        metric.unit,
        metric.better,
        CASE WHEN NOT reading_point.interpolated THEN
            coalesce(
                abs(ln(nullif(reading.power_w, 0)
                       / coalesce(test_point.power_w, test_point.power_share * rated_power_w))),
                2 * reading_point.level_offset
            )
            * CASE WHEN rated_power_w IS NULL THEN 3
                   WHEN reading.power_w > rated_power_w / 2 THEN 10
                   ELSE 1 END
            * if(metric.unit = 'dB', 20 / ln(10), abs(value)) / sqrt(3)
        END AS offset_u,
        analysis.calibration_key || ', ' || output AS shared_with
    FROM reading_point
    JOIN test_point USING (point_key)
    JOIN reading USING (reading_key, review_key)
    JOIN unit_period USING (review_key, unit_key)
    JOIN metric ON metric.metric = reading.metric
        AND metric.method_version = reading.method_version
    LEFT JOIN analysis ON analysis.review_key = reading.review_key
        AND analysis.analysis_key = reading.analysis_key
    WHERE value IS NOT NULL
)
SELECT
    *,
    standing AND dense_rank() OVER (
        PARTITION BY standing, point_key, unit_key, metric, order_n, limit_percent, detail,
                     own_frequency_hz
        ORDER BY status = 'entered', reviewed DESC, review_key DESC
    ) = 1 AND row_number() OVER (
        PARTITION BY standing, point_key, unit_key, output, against, metric, order_n,
                     limit_percent, detail, own_frequency_hz
        ORDER BY status = 'entered', reviewed DESC, review_key DESC, reading_key
    ) = 1 AS stands
FROM valued;

-- grain: reading with a value at a test point, at the method version in force, of any review: the
-- rows of the view worked_out_at_point. stands: the value is the one of a unit as it is now.
-- offset_u: what the offset of its power or voltage from that of the point can change, where the
-- metric follows power.
CREATE TABLE value_at_point AS FROM worked_out_at_point ORDER BY unit_key, metric;

-- As before, from the table.
CREATE OR REPLACE VIEW at_point AS
WITH valued AS (
    SELECT
        value_at_point.* EXCLUDE (stands, offset_u, shared_with),
        coalesce(if(session_spread.relative, abs(value), 1) * session_spread.spread, 0)
            AS session_u,
        coalesce(session_spread.is_default, false) AND session_u > 0 AS session_default,
        coalesce(if(session_spread.follows_power, value_at_point.offset_u, 0), 0) AS offset_u,
        if(uncertainty IS NULL, NULL, coalesce(estimation, uncertainty)) AS record_u,
        session_spread.dof AS session_dof,
        shared_with,
        stands
    FROM value_at_point
    LEFT JOIN session_spread ON session_spread.metric = value_at_point.metric
)
SELECT
    * EXCLUDE (record_u, session_dof, stands) REPLACE (
        sqrt(valued.uncertainty ** 2 + offset_u ** 2) AS uncertainty
    ),
    sqrt(record_u ** 2 + session_u ** 2 + offset_u ** 2) AS own_u,
    own_u ** 4 / nullif(coalesce(record_u ** 4 / valued.dof, 0)
                        + coalesce(session_u ** 4 / session_dof, 0), 0) AS own_dof,
    sqrt(greatest(valued.uncertainty ** 2 - record_u ** 2, 0)) AS shared_u,
    stands
FROM valued;

CREATE OR REPLACE VIEW placed AS
SELECT
    * EXCLUDE (standing, stands),
    CASE WHEN bound IS DISTINCT FROM 'upper' THEN value - 2 * uncertainty END AS low,
    CASE WHEN bound IS DISTINCT FROM 'lower' THEN value + 2 * uncertainty END AS high
FROM at_point
WHERE stands;
