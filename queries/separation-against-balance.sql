-- title: Channel separation against imbalance
-- question: Do units whose channels differ in level also leak more between them?
-- conditions: 1 kHz; newest review of each unit; bars: k = 2
-- grain: unit_key
-- parameter unit: unit = ''; a unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column x: dB; Difference between channels
-- column y: dB; Separation at 1 kHz
-- column y_low: dB; Low (k = 2)
-- column y_high: dB; High (k = 2)
-- column bound: -; Bound
-- column marked: -; Marked
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
