-- title: Signal-to-noise ratio by technology
-- question: How does the unweighted signal-to-noise ratio at one test point differ between
--   technologies? The output with the lower ratio counts.
-- conditions: {point}; unweighted; output with the lower value; newest review of each unit
-- grain: unit_key; one row per unit
-- metric: snr
-- parameter point: point = 'tone-1khz-5w-8ohm'; test point
-- parameter unit: unit = ''; unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column value: dB; Signal-to-noise ratio
-- column low: dB; Lower limit (k = 2)
-- column high: dB; Upper limit (k = 2)
-- column bound: -; Bound
-- column marked: -; Marked unit
-- chart: strip
SELECT unit_key, label, technology, value, low, high, bound, unit_key = $unit AS marked
FROM worse
JOIN peer USING (unit_key)
WHERE point_key = $point AND metric = 'snr'
ORDER BY technology, value, unit_key
