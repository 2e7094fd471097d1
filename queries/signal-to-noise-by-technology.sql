-- title: Signal-to-noise ratio by technology
-- question: How do technologies differ in signal-to-noise ratio at one test point, unweighted?
--   The lower output of each unit.
-- conditions: {point}; unweighted; the lower output; newest review of each unit
-- grain: unit_key
-- parameter point: point = 'tone-1khz-5w-8ohm'; test point
-- parameter unit: unit = ''; a unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column value: dB; Signal-to-noise ratio
-- column low: dB; Low (k = 2)
-- column high: dB; High (k = 2)
-- column bound: -; Bound
-- column marked: -; Marked
-- chart: strip
SELECT unit_key, label, technology, value, low, high, bound, unit_key = $unit AS marked
FROM worse
JOIN peer USING (unit_key)
WHERE point_key = $point AND metric = 'snr'
ORDER BY technology, value, unit_key
