-- title: Power into 2, 4, 8 and 16 Ω
-- question: How does the output power at one distortion limit change with the load? A supply and an
--   output without resistance would give twice the power into half the load. The output with the
--   lower power, 1 kHz.
-- conditions: 1 kHz; at {limit_percent} % THD; output with the lower power; newest review
-- grain: unit_key, load_ohm; one row per unit and load
-- metric: power_at_limit
-- needed: label, load_ohm, value, share
-- parameter limit_percent: number = 1; distortion limit
-- parameter unit: unit = ''; unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column load_ohm: ohm; Load
-- column tap: -; Output terminals
-- column value: W; Power
-- column low: W; Lower limit (k = 2)
-- column high: W; Upper limit (k = 2)
-- column bound: -; Bound
-- column share: -; Of the power into 8 Ω, same terminals
-- column rated: W; Rated power
-- column marked: -; Marked unit
-- chart: loads
WITH found AS (
    SELECT unit_key, value, low, high, bound, tap,
           CASE point_key WHEN 'limit-1khz-2ohm' THEN 2 WHEN 'limit-1khz-4ohm' THEN 4
                          WHEN 'limit-1khz-8ohm' THEN 8 ELSE 16 END AS load_ohm
    FROM worse
    WHERE metric = 'power_at_limit' AND limit_percent = $limit_percent
      AND detail NOT LIKE '%"harmonics"%'
      AND point_key IN (
          'limit-1khz-2ohm', 'limit-1khz-4ohm', 'limit-1khz-8ohm', 'limit-1khz-16ohm'
      )
),
into_8 AS (FROM found WHERE load_ohm = 8)
SELECT
    unit_key, label, technology, found.load_ohm, found.tap, found.value, found.low, found.high,
    found.bound,
    CASE WHEN found.bound IS NULL AND into_8.bound IS NULL
              AND found.tap IS NOT DISTINCT FROM into_8.tap
         THEN found.value / into_8.value END AS share,
    rated_power_w AS rated, unit_key = $unit AS marked
FROM found
JOIN peer USING (unit_key)
LEFT JOIN into_8 USING (unit_key)
QUALIFY row_number() OVER (PARTITION BY unit_key, found.load_ohm ORDER BY found.value) = 1
ORDER BY max(into_8.value) OVER (PARTITION BY unit_key) DESC NULLS LAST, unit_key,
         found.load_ohm DESC
