-- title: Channel imbalance against age
-- question: Does the level difference between channels grow with a unit's age? The age is that
--   from the middle of the years of manufacture to the review.
-- conditions: 1 kHz; newest review of each unit; bars: k = 2
-- grain: unit_key; one row per unit
-- metric: channel_balance
-- parameter unit: unit = ''; unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column x: years; Age at the review
-- column y: dB; Difference between channels
-- column y_low: dB; Lower limit (k = 2)
-- column y_high: dB; Upper limit (k = 2)
-- column marked: -; Marked unit
-- chart: trend
SELECT
    unit_key, label, technology,
    year(worse.reviewed) - made_year AS x,
    abs(value) AS y,
    greatest(abs(value) - 2 * uncertainty, 0) AS y_low,
    abs(value) + 2 * uncertainty AS y_high,
    unit_key = $unit AS marked
FROM worse
JOIN peer USING (unit_key)
WHERE point_key = 'channels-1khz' AND metric = 'channel_balance' AND made_year IS NOT NULL
ORDER BY x, unit_key
