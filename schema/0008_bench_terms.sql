-- grain: review, input range: the bench's terms (volts at full scale, uncertainties) that the
-- review was computed with, as canonical JSON; input_range is '' where the bench has one only.
CREATE TABLE computed_with (
    review_key  VARCHAR NOT NULL,
    input_range VARCHAR NOT NULL,
    terms       VARCHAR NOT NULL
);

-- grain: bench, day, event: what was done to a bench, as the settings record it
CREATE TABLE bench_event (
    bench_key VARCHAR NOT NULL,
    day       DATE NOT NULL,
    what      VARCHAR NOT NULL
);

-- |ln| of a reading's voltage over that of its test point; NULL where the point asks for none.
ALTER TABLE reading_point ADD COLUMN level_offset DOUBLE;

DROP VIEW at_point;

-- grain: reading with a value at a test point, at the method version in force, of any review.
-- Its uncertainty by parts: own_u of the record and of the session (with own_dof), shared_u of
-- the calibration, which readings of one shared_with have in common. session_u is what another
-- session would give; session_default says that nothing but the metric's stated default is known
-- of it. offset_u is what the offset of its power or voltage from that of the point can change,
-- part of uncertainty and own_u: a metric changes in proportion to power at most, up to ten times
-- as steeply above half the rated power, three times where that isn't known (common practice, no
-- source).
CREATE VIEW at_point AS
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
        coalesce(if(session_spread.relative, abs(value), 1) * session_spread.spread, 0)
            AS session_u,
        coalesce(session_spread.is_default, false) AND session_u > 0 AS session_default,
        coalesce(
            CASE WHEN session_spread.follows_power AND NOT reading_point.interpolated THEN
                coalesce(
                    abs(ln(nullif(reading.power_w, 0)
                           / coalesce(test_point.power_w, test_point.power_share * rated_power_w))),
                    2 * reading_point.level_offset
                )
                * CASE WHEN rated_power_w IS NULL THEN 3
                       WHEN reading.power_w > rated_power_w / 2 THEN 10
                       ELSE 1 END
                * if(metric.unit = 'dB', 20 / ln(10), abs(value)) / sqrt(3)
            END, 0) AS offset_u,
        if(uncertainty IS NULL, NULL, coalesce(estimation, uncertainty)) AS record_u,
        session_spread.dof AS session_dof,
        analysis.calibration_key || ', ' || output AS shared_with
    FROM reading_point
    JOIN test_point USING (point_key)
    JOIN reading USING (reading_key, review_key)
    JOIN unit_period USING (review_key, unit_key)
    JOIN metric ON metric.metric = reading.metric
        AND metric.method_version = reading.method_version
    LEFT JOIN session_spread ON session_spread.metric = reading.metric
    LEFT JOIN analysis ON analysis.review_key = reading.review_key
        AND analysis.analysis_key = reading.analysis_key
    WHERE value IS NOT NULL
)
SELECT
    * EXCLUDE (record_u, session_dof) REPLACE (
        sqrt(valued.uncertainty ** 2 + offset_u ** 2) AS uncertainty
    ),
    sqrt(record_u ** 2 + session_u ** 2 + offset_u ** 2) AS own_u,
    own_u ** 4 / nullif(coalesce(record_u ** 4 / valued.dof, 0)
                        + coalesce(session_u ** 4 / session_dof, 0), 0) AS own_dof,
    sqrt(greatest(valued.uncertainty ** 2 - record_u ** 2, 0)) AS shared_u
FROM valued;
