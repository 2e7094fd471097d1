-- title: Power with one and with all outputs driven
-- question: How much of an output's power is lost where the supply has to feed the other outputs
--   too? Power at one distortion limit, 1 kHz, of units measured both ways into one load; the
--   output that is weaker with all driven.
-- conditions: 1 kHz; at {limit_percent} % THD; newest review; entered figures left out
-- grain: unit_key, load_ohm; one row per unit and load
-- metric: power_at_limit
-- parameter limit_percent: number = 1; distortion limit
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column load_ohm: Ω; Load
-- column output: -; Output
-- column one_driven: W; Alone driven
-- column all_driven: W; All driven
-- column loss_db: dB; All re alone
WITH powers AS (
    SELECT reading.unit_key, output, reading.load_ohm,
           max(value) FILTER (driven IS NULL) AS all_driven,
           max(value) FILTER (driven = output) AS one_driven
    FROM reading
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN review USING (review_key)
    JOIN metric ON metric.metric = reading.metric
        AND metric.method_version = reading.method_version
    WHERE reading.metric = 'power_at_limit' AND limit_percent = $limit_percent
          AND value IS NOT NULL AND bound IS NULL AND status <> 'entered'
          AND frequency_hz BETWEEN 990 AND 1010
    GROUP BY reading.unit_key, reading.review_key, reviewed, output, reading.load_ohm
    HAVING all_driven IS NOT NULL AND one_driven IS NOT NULL
    QUALIFY dense_rank() OVER (
        PARTITION BY reading.unit_key ORDER BY reviewed DESC, reading.review_key DESC
    ) = 1
)
SELECT unit_key, label, technology, load_ohm, output, one_driven, all_driven,
       10 * log10(all_driven / one_driven) AS loss_db
FROM powers
JOIN peer USING (unit_key)
QUALIFY row_number() OVER (PARTITION BY unit_key, load_ohm ORDER BY all_driven, output) = 1
ORDER BY loss_db, unit_key, load_ohm
