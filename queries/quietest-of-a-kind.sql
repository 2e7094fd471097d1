-- title: Quietest units of a kind
-- question: Which units of one technology and kind are quietest at idle, A-weighted?
-- grain: unit_key
-- parameter technology: technology = 'tube'; which technology
-- parameter kind: text = 'integrated amplifier'; which kind
-- parameter most: integer = 20; how many at most
-- parameter unit: unit = ''; a unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column value: µV; Residual noise, A-weighted
-- column low: µV; Low (k = 2)
-- column high: µV; High (k = 2)
-- column bound: -; Bound
-- column marked: -; Marked
-- chart: ranked; scale = log
SELECT
    unit_key, label, technology, value * 1e6 AS value, low * 1e6 AS low, high * 1e6 AS high,
    bound, unit_key = $unit AS marked
FROM worse
JOIN peer USING (unit_key)
WHERE point_key = 'idle' AND metric = 'noise_a' AND technology = $technology AND kind = $kind
ORDER BY value, unit_key
LIMIT $most
