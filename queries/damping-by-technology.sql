-- title: Damping factor by technology
-- question: How do the technologies differ in damping factor at 1 kHz? Amplifiers and
--   receivers only: what drives no loudspeaker has no damping to speak of. The lower output of
--   each unit, from its newest review; the reading says which load it refers to.
-- conditions: 1 kHz; loudspeaker outputs; the lower output; newest review of each unit
-- grain: unit_key
-- parameter unit: unit = ''; a unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column value: -; Damping factor at 1 kHz
-- column low: -; Low (k = 2)
-- column high: -; High (k = 2)
-- column bound: -; Bound
-- column marked: -; Marked
-- chart: strip; scale = log
SELECT
    unit_key, label, technology, value, low, high, bound, unit_key = $unit AS marked
FROM worse
JOIN peer USING (unit_key)
WHERE point_key = 'impedance-1khz' AND metric = 'damping_factor'
  AND kind_group = 'amplifiers'
ORDER BY technology, value, unit_key
