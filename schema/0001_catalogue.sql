-- The catalogue. Everything here is derived from the vault, the ledger and backbench.toml.
-- Rows of a review are deleted and inserted whole, so tables carry no keys that DuckDB
-- would index (an index on 1e6 readings is four times their size); `backbench verify`
-- and the tests hold uniqueness.

-- grain: bench
CREATE TABLE bench (
    bench_key                     VARCHAR NOT NULL,
    load_uncertainty_percent      DOUBLE NOT NULL CHECK (load_uncertainty_percent > 0),
    generator_uncertainty_percent DOUBLE NOT NULL CHECK (generator_uncertainty_percent > 0)
);

-- grain: bench, day, range, track
CREATE TABLE calibration (
    bench_key                VARCHAR NOT NULL,
    since                    DATE NOT NULL,
    input_range              VARCHAR,
    track                    INTEGER NOT NULL CHECK (track >= 1),
    volts_peak_at_full_scale DOUBLE NOT NULL CHECK (isfinite(volts_peak_at_full_scale)),
    uncertainty_percent      DOUBLE NOT NULL CHECK (uncertainty_percent > 0)
);

-- grain: metric
CREATE TABLE metric (
    metric         VARCHAR NOT NULL,
    title          VARCHAR NOT NULL,
    unit           VARCHAR NOT NULL,
    better         VARCHAR NOT NULL CHECK (better IN ('lower', 'higher', 'nearer zero', 'neither')),
    source         VARCHAR NOT NULL,
    choice         VARCHAR NOT NULL,
    definition     VARCHAR NOT NULL,
    method_version INTEGER NOT NULL
);

-- grain: test point; a NULL condition is not asked for
CREATE TABLE test_point (
    point_key    VARCHAR NOT NULL,
    title        VARCHAR NOT NULL,
    stimulus     VARCHAR NOT NULL,
    frequency_hz DOUBLE,
    power_w      DOUBLE,
    power_share  DOUBLE,          -- of the unit's rated power, in place of power_w
    power_within DOUBLE,          -- relative half-width of the power window
    load_ohm     DOUBLE
);

-- grain: loudspeaker
CREATE TABLE loudspeaker (
    name           VARCHAR NOT NULL,
    sensitivity_db DOUBLE NOT NULL
);

-- grain: one accepted manifest version of a review, newest only; all versions are in the ledger
CREATE TABLE review (
    review_key      VARCHAR NOT NULL,
    reviewed        DATE NOT NULL,
    bench_key       VARCHAR NOT NULL,
    mains_hz        DOUBLE NOT NULL,
    title           VARCHAR,
    notes           VARCHAR,
    temperature_c   DOUBLE,
    manifest_sha256 VARCHAR NOT NULL,
    receipt         INTEGER NOT NULL,
    derived_with    VARCHAR NOT NULL    -- digest of the method versions across captures
);

-- grain: review, unit
CREATE TABLE appearance (
    review_key     VARCHAR NOT NULL,
    unit_key       VARCHAR NOT NULL,
    position       INTEGER NOT NULL,
    maker          VARCHAR NOT NULL,
    model          VARCHAR NOT NULL,
    serial         VARCHAR,
    kind           VARCHAR NOT NULL,
    technology     VARCHAR NOT NULL,
    topology       VARCHAR,
    made_first     INTEGER,
    made_last      INTEGER,
    state          VARCHAR NOT NULL,
    work           VARCHAR[] NOT NULL,
    rated_power_w  DOUBLE CHECK (rated_power_w > 0),
    price_amount   DOUBLE,
    price_currency VARCHAR,
    price_year     INTEGER,
    notes          VARCHAR
);

-- grain: review, unit, position
CREATE TABLE published (
    review_key    VARCHAR NOT NULL,
    unit_key      VARCHAR NOT NULL,
    position      INTEGER NOT NULL,
    metric        VARCHAR NOT NULL,
    side          VARCHAR NOT NULL CHECK (side IN ('at most', 'at least')),
    limit_value   DOUBLE NOT NULL CHECK (isfinite(limit_value)),   -- in the metric's unit
    frequency_hz  DOUBLE,
    band_low_hz   DOUBLE,
    band_high_hz  DOUBLE,
    power_w       DOUBLE,
    load_ohm      DOUBLE,
    limit_percent DOUBLE,
    printed       VARCHAR NOT NULL,                                -- the limit as written
    printed_in    VARCHAR NOT NULL
);

-- grain: review, capture
CREATE TABLE capture (
    review_key       VARCHAR NOT NULL,
    position         INTEGER NOT NULL,
    file             VARCHAR NOT NULL,
    sha256           VARCHAR,                 -- NULL where the file was missing
    bytes            BIGINT,
    stimulus         VARCHAR NOT NULL,        -- analysis kind: tone, sweep, idle, response table, …
    stimulus_json    VARCHAR NOT NULL,
    loop_back        BOOLEAN NOT NULL,
    load_ohm         DOUBLE CHECK (load_ohm > 0),
    load_kind        VARCHAR CHECK (load_kind IN ('resistor', 'open')),
    input            VARCHAR,
    tap              VARCHAR,
    volume           VARCHAR,
    controls         VARCHAR,
    input_range      VARCHAR,
    driven           VARCHAR,
    supply_vrms      DOUBLE,
    minutes_on       DOUBLE,
    notes            VARCHAR,
    analysis_key     VARCHAR NOT NULL,
    status           VARCHAR NOT NULL CHECK (status IN ('analysed', 'failed')),
    reason           VARCHAR
);

-- grain: analysis (one capture, or one derivation across captures)
CREATE TABLE analysis (
    analysis_key    VARCHAR NOT NULL,
    review_key      VARCHAR NOT NULL,
    calibration_key VARCHAR,
    environment_key VARCHAR NOT NULL
);

-- grain: analysis, capture it was made from
CREATE TABLE analysis_capture (
    analysis_key VARCHAR NOT NULL,
    review_key   VARCHAR NOT NULL,
    sha256       VARCHAR NOT NULL
);

-- grain: environment: the package versions that an analysis ran with
CREATE TABLE environment (
    environment_key VARCHAR NOT NULL,
    packages_json   VARCHAR NOT NULL
);

-- grain: reading. Absence of a value is a status with a reason, never a number.
CREATE TABLE reading (
    reading_key       VARCHAR NOT NULL,
    review_key        VARCHAR NOT NULL,
    analysis_key      VARCHAR NOT NULL,
    unit_key          VARCHAR NOT NULL,       -- '' where the bench itself was measured (loop-back)
    output            VARCHAR NOT NULL,
    against           VARCHAR,                -- the other unit or output, for metrics between two
    metric            VARCHAR NOT NULL,
    method_version    INTEGER NOT NULL,
    stimulus          VARCHAR NOT NULL,
    frequency_hz      DOUBLE,
    power_w           DOUBLE,                 -- measured on this channel in this capture
    load_ohm          DOUBLE,
    load_kind         VARCHAR,
    generator_vrms    DOUBLE,
    input             VARCHAR,
    tap               VARCHAR,
    volume            VARCHAR,
    driven            VARCHAR,
    order_n           INTEGER,
    limit_percent     DOUBLE,
    detail            VARCHAR NOT NULL,       -- further conditions, canonical JSON
    value             DOUBLE CHECK (isfinite(value)),
    uncertainty       DOUBLE CHECK (isfinite(uncertainty) AND uncertainty >= 0),
    estimation        DOUBLE CHECK (isfinite(estimation) AND estimation >= 0),
    dof               DOUBLE CHECK (isfinite(dof) AND dof > 0),   -- NULL: infinite
    bound             VARCHAR CHECK (bound IN ('upper', 'lower')),
    status            VARCHAR NOT NULL
        CHECK (status IN ('measured', 'at_floor', 'entered', 'rejected', 'not_applicable')),
    reason            VARCHAR,
    CHECK ((value IS NULL) = (status IN ('rejected', 'not_applicable'))),
    CHECK (value IS NOT NULL OR reason IS NOT NULL)
);

-- grain: reading, test point
CREATE TABLE reading_point (
    reading_key VARCHAR NOT NULL,
    review_key  VARCHAR NOT NULL,
    point_key   VARCHAR NOT NULL
);

-- grain: curve
CREATE TABLE curve (
    review_key     VARCHAR NOT NULL,
    analysis_key   VARCHAR NOT NULL,
    unit_key       VARCHAR NOT NULL,
    output         VARCHAR NOT NULL,
    curve          VARCHAR NOT NULL,
    method_version INTEGER NOT NULL,
    frequency_hz   DOUBLE,
    power_w        DOUBLE,
    load_ohm       DOUBLE,
    load_kind      VARCHAR,
    x_unit         VARCHAR NOT NULL,
    y_unit         VARCHAR NOT NULL,
    x              DOUBLE[] NOT NULL,
    y              DOUBLE[] NOT NULL,
    uncertainty    DOUBLE[],
    CHECK (len(x) = len(y))
);

-- grain: unit, as told by its newest review
CREATE VIEW unit AS
SELECT
    appearance.* EXCLUDE (position),
    review.reviewed,
    count(*) OVER (PARTITION BY unit_key) AS reviews
FROM appearance
JOIN review USING (review_key)
QUALIFY row_number() OVER (PARTITION BY unit_key ORDER BY reviewed DESC, review_key DESC) = 1;

-- grain: reading at a test point, of a unit's newest review that has it
CREATE VIEW point_reading AS
SELECT
    reading_point.point_key,
    reading.*,
    review.reviewed,
    appearance.state,
    dense_rank() OVER (
        PARTITION BY reading_point.point_key, reading.unit_key, reading.output, reading.metric,
                     reading.order_n, reading.limit_percent, reading.detail
        ORDER BY review.reviewed DESC, reading.review_key DESC
    ) AS recency
FROM reading_point
JOIN reading USING (reading_key, review_key)
JOIN review USING (review_key)
JOIN appearance USING (review_key, unit_key);
