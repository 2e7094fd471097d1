-- title: Upper band limit by technology
-- question: Where does the response fall by 3 dB above 1 kHz? The lower output of each unit; a
--   bound where the limit lies above what was measured. Units of the marked one's group of kinds, or
--   else amplifiers and receivers.
-- conditions: −3 dB re 1 kHz; the lower output; newest review of each unit
-- grain: unit_key
-- parameter unit: unit = ''; a unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column value: kHz; Upper −3 dB frequency
-- column low: kHz; Low (k = 2)
-- column high: kHz; High (k = 2)
-- column bound: -; Bound
-- column marked: -; Marked
-- chart: strip; scale = log
SELECT
    unit_key, label, technology, value / 1000 AS value, low / 1000 AS low, high / 1000 AS high,
    bound, unit_key = $unit AS marked
FROM worse
JOIN peer USING (unit_key)
WHERE point_key = 'response' AND metric = 'response_high_3db'
  AND kind_group = coalesce((SELECT kind_group FROM peer WHERE unit_key = $unit), 'amplifiers')
ORDER BY technology, value, unit_key
