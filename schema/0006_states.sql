-- grain: review, unit. A period is a run of a unit's reviews in one state, without work in between.
-- A unit is headed by its newest review with captures of it, or else by its newest; standing: the
-- review is of the headed one's period, so that its figures may stand for the unit as it is.
CREATE VIEW unit_period AS
WITH ordered AS (
    SELECT
        review_key, unit_key, review.reviewed, state, work, rated_power_w,
        review_key IN (SELECT review_key FROM capture WHERE NOT loop_back) AS measured,
        lag(state) OVER earlier AS earlier_state,
        lag(work) OVER earlier AS earlier_work
    FROM appearance
    JOIN review USING (review_key)
    WINDOW earlier AS (PARTITION BY unit_key ORDER BY review.reviewed, review_key)
),
numbered AS (
    SELECT
        * EXCLUDE (earlier_state, earlier_work),
        sum(CASE WHEN earlier_state IS NULL THEN 0
                 WHEN state = earlier_state AND (len(work) = 0 OR work = earlier_work) THEN 0
                 ELSE 1 END) OVER (PARTITION BY unit_key ORDER BY reviewed, review_key) AS period
    FROM ordered
),
heads AS (
    SELECT unit_key, review_key AS head_key, period AS head_period
    FROM numbered
    QUALIFY row_number() OVER (
        PARTITION BY unit_key ORDER BY measured DESC, reviewed DESC, review_key DESC
    ) = 1
)
SELECT
    review_key, unit_key, reviewed, state, work, rated_power_w, measured, period,
    period = head_period AS standing,
    review_key = head_key AS headed
FROM numbered
JOIN heads USING (unit_key);

-- grain: unit, as its newest review with captures of it says, or else its newest review
CREATE OR REPLACE VIEW unit AS
SELECT
    appearance.* EXCLUDE (position),
    unit_period.reviewed,
    count(*) OVER (PARTITION BY unit_key) AS reviews
FROM appearance
JOIN unit_period USING (review_key, unit_key)
QUALIFY headed;

-- grain: metric: standard deviation between sessions of one unit without work in between; in dB,
-- or relative to the value. dof: what it was observed from and the weight of the stated default.
CREATE TABLE session_spread (
    metric     VARCHAR NOT NULL,
    relative   BOOLEAN NOT NULL,
    follows_power BOOLEAN NOT NULL,   -- whether the metric changes with power, smoothly
    spread     DOUBLE NOT NULL CHECK (isfinite(spread) AND spread >= 0),
    dof        DOUBLE NOT NULL CHECK (dof > 0),
    units      INTEGER NOT NULL,
    sessions   INTEGER NOT NULL,
    is_default BOOLEAN NOT NULL
);

DROP VIEW worse;
DROP VIEW placed;

-- grain: reading with a value at a test point, at the method version in force, of any review.
-- Its uncertainty by parts: own_u of the record and of the session (with own_dof), shared_u of
-- the calibration, which readings of one shared_with have in common. offset_u is what the offset
-- of its power from that of the point can change, part of uncertainty and own_u: a metric changes
-- in proportion to power at most, up to ten times as steeply above half the rated power, three
-- times where that isn't known (common practice, no source).
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
        coalesce(
            CASE WHEN session_spread.follows_power AND NOT reading_point.interpolated THEN
                abs(ln(nullif(reading.power_w, 0)
                       / coalesce(test_point.power_w, test_point.power_share * rated_power_w)))
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

-- grain: test point, unit, output, against, metric, order, limit, detail, own frequency.
-- A value at a test point of a unit in the state of the review that heads it: measured values
-- before entered ones, then from the newest review that has one, all outputs from the same review.
CREATE VIEW placed AS
SELECT
    * EXCLUDE (standing),
    CASE WHEN bound IS DISTINCT FROM 'upper' THEN value - 2 * uncertainty END AS low,
    CASE WHEN bound IS DISTINCT FROM 'lower' THEN value + 2 * uncertainty END AS high
FROM at_point
WHERE standing
QUALIFY dense_rank() OVER (
    PARTITION BY point_key, unit_key, metric, order_n, limit_percent, detail, own_frequency_hz
    ORDER BY status = 'entered', reviewed DESC, review_key DESC
) = 1 AND row_number() OVER (
    PARTITION BY point_key, unit_key, output, against, metric, order_n, limit_percent, detail,
                 own_frequency_hz
    ORDER BY status = 'entered', reviewed DESC, review_key DESC, reading_key
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

-- grain: unit that was reviewed as received and, on the same day or later, in another state: the
-- review before the work (the first) and the one after it (the newest), those with captures first
CREATE VIEW before_after AS
SELECT
    unit_key,
    first(review_key ORDER BY measured DESC, reviewed, review_key)
        FILTER (WHERE state = 'as received') AS before_key,
    first(review_key ORDER BY measured DESC, reviewed DESC, review_key DESC)
        FILTER (WHERE state <> 'as received') AS after_key
FROM unit_period
GROUP BY unit_key
HAVING before_key IS NOT NULL AND after_key IS NOT NULL
   AND max(reviewed) FILTER (WHERE state <> 'as received')
       >= min(reviewed) FILTER (WHERE state = 'as received');
