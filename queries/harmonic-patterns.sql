-- title: Harmonic patterns of one technology
-- question: Which units of a technology make the same harmonics? Like patterns stand side by side;
--   with a marked unit, those most like it come first.
-- conditions: {technology}; {point}; worse output at each harmonic; newest review
-- grain: unit_key, order_n; one row per unit and harmonic
-- metric: harmonic
-- needed: label, order_n, level_db, bound
-- parameter technology: technology = ''; technology; where empty, that of the marked unit,
--   otherwise the most common one
-- parameter point: point = 'tone-1khz-5w-8ohm'; test point
-- parameter unit: unit = ''; unit to mark, shown whatever its technology
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column topology: -; Topology
-- column order_n: -; Harmonic
-- column level_db: dB; Level re the fundamental
-- column bound: -; Bound
-- column marked: -; Marked unit
-- chart: patterns
WITH chosen AS (
    SELECT coalesce(
        nullif($technology, ''),
        (SELECT technology FROM peer WHERE unit_key = $unit),
        (SELECT technology FROM peer GROUP BY ALL ORDER BY count(*) DESC, technology LIMIT 1)
    ) AS technology
)
SELECT
    unit_key, label, technology, topology, order_n, value AS level_db, bound,
    unit_key = $unit AS marked
FROM worse
JOIN peer USING (unit_key)
WHERE metric = 'harmonic' AND point_key = $point AND order_n BETWEEN 2 AND 10
  AND (technology IN (SELECT technology FROM chosen) OR unit_key = $unit)
QUALIFY row_number() OVER (
    PARTITION BY unit_key, order_n ORDER BY bound IS NOT NULL, value DESC
) = 1
ORDER BY unit_key, order_n
