-- title: A figure over the years of making
-- question: How does one figure stand in units of each decade? Units of the marked unit's kind,
--   amplifiers and receivers being one kind; amplifiers by default.
-- conditions: {point}; worse output; newest review; medians of decades with three units or more
-- grain: unit_key; one row per unit
-- needed: label, made_first, made_last, value, technology
-- parameter metric: metric = 'noise_a'; quantity
-- parameter point: point = 'idle'; test point
-- parameter limit_percent: number = 1; distortion limit, of a power at a limit
-- parameter unit: unit = ''; unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column made_first: -; Made from
-- column made_last: -; Made to
-- column year: -; Year of making
-- column title: -; Quantity
-- column value: {unit}; Value
-- column low: {unit}; Lower limit (k = 2)
-- column high: {unit}; Upper limit (k = 2)
-- column bound: -; Bound
-- column unit: -; Unit of measure
-- column marked: -; Marked unit
-- chart: timeline; scale = log
SELECT
    unit_key, label, technology, made_first, made_last, made_year AS year, metric.title AS title,
    value, low, high, bound, worse.unit AS unit, unit_key = $unit AS marked
FROM worse
JOIN peer USING (unit_key)
JOIN metric USING (metric)
WHERE metric = $metric AND point_key = $point AND order_n IS NULL AND made_year IS NOT NULL
  AND (limit_percent IS NULL OR limit_percent = $limit_percent)
  AND kind_group = coalesce(
      (SELECT kind_group FROM peer WHERE unit_key = $unit), 'amplifiers'
  )
QUALIFY row_number() OVER (PARTITION BY unit_key ORDER BY own_frequency_hz, value) = 1
ORDER BY year, unit_key
