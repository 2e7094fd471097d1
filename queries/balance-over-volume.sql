-- title: Channel balance over the volume control
-- question: How does the balance of a unit's outputs change with the setting of its volume control?
--   At each stated setting the gain beside the balance at the tone that most settings share.
-- conditions: left re right, both driven alike; newest review with two settings or more
-- grain: setting, output, x; one row per setting
-- metric: balance_tracking
-- parameter unit: unit = ''; unit; where empty, the one reviewed last that has such settings
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column setting: -; Volume
-- column output: -; Output
-- column x: dB; Gain
-- column y: dB; Channel balance
-- column y_u: dB; Standard uncertainty
-- chart: family; across = level
WITH balances AS (
    SELECT reading.*, reviewed
    FROM reading
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN metric ON metric.metric = reading.metric
        AND metric.method_version = reading.method_version
    JOIN review USING (review_key)
    WHERE reading.metric = 'channel_balance' AND value IS NOT NULL AND volume IS NOT NULL
          AND $unit IN ('', reading.unit_key)
),
counted AS (
    SELECT *, count(DISTINCT volume) OVER same AS settings
    FROM balances
    WINDOW same AS (PARTITION BY review_key, unit_key, output, frequency_hz, input, load_ohm)
),
chosen AS (
    SELECT review_key, unit_key, output, frequency_hz, input, load_ohm
    FROM counted
    WHERE settings >= 2
    ORDER BY reviewed DESC, settings DESC, abs(ln(frequency_hz / 1000)), review_key DESC, unit_key,
             output, input, load_ohm
    LIMIT 1
),
gains AS (
    SELECT review_key, unit_key, frequency_hz, volume, input, load_ohm, median(value) AS gain
    FROM reading
    WHERE metric = 'gain' AND value IS NOT NULL AND volume IS NOT NULL
    GROUP BY ALL
)
SELECT counted.unit_key, label, counted.volume AS setting, counted.output, gain AS x, value AS y,
       uncertainty AS y_u
FROM counted
JOIN chosen USING (review_key, unit_key, output, frequency_hz)
JOIN gains USING (review_key, unit_key, frequency_hz, volume)
JOIN (SELECT unit_key, label FROM peer) AS known USING (unit_key)
WHERE counted.input IS NOT DISTINCT FROM chosen.input
      AND counted.load_ohm IS NOT DISTINCT FROM chosen.load_ohm
      AND gains.input IS NOT DISTINCT FROM chosen.input
      AND gains.load_ohm IS NOT DISTINCT FROM chosen.load_ohm
QUALIFY row_number() OVER (PARTITION BY counted.volume ORDER BY gain DESC, analysis_key) = 1
ORDER BY x, setting, counted.output
