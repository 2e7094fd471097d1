-- title: Channel separation against channel imbalance
-- question: Do units with a larger level difference between channels have less channel
--   separation?
-- conditions: 1 kHz; newest review of each unit; bars: k = 2
-- grain: unit_key; one row per unit
-- metric: separation, channel_balance
-- parameter unit: unit = ''; unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column x: dB; Difference between channels
-- column y: dB; Separation at 1 kHz
-- column y_low: dB; Lower limit (k = 2)
-- column y_high: dB; Upper limit (k = 2)
-- column bound: -; Bound
-- column marked: -; Marked unit
-- chart: trend
SELECT
    unit_key, label, technology, abs(balance.value) AS x, separation.value AS y,
    separation.low AS y_low, separation.high AS y_high, separation.bound, unit_key = $unit AS marked
FROM (SELECT * FROM worse WHERE point_key = 'channels-1khz' AND metric = 'channel_balance')
     AS balance
JOIN (SELECT * FROM worse WHERE point_key = 'channels-1khz' AND metric = 'separation')
     AS separation USING (unit_key)
JOIN peer USING (unit_key)
ORDER BY x, unit_key
