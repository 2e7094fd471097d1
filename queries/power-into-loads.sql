-- title: Power into 2, 4, 8 and 16 Ω
-- question: How does the output power at one distortion limit change with the load? The output
--   with the lower power, 1 kHz.
-- conditions: 1 kHz; at {limit_percent} % THD; output with the lower power; newest review
-- grain: unit_key; one row per unit
-- parameter limit_percent: number = 1; distortion limit
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column into_2: W; Into 2 Ω
-- column into_4: W; Into 4 Ω
-- column into_8: W; Into 8 Ω
-- column into_16: W; Into 16 Ω
-- column rated: W; Rated power
SELECT
    unit_key, label, technology,
    max(value) FILTER (point_key = 'limit-1khz-2ohm') AS into_2,
    max(value) FILTER (point_key = 'limit-1khz-4ohm') AS into_4,
    max(value) FILTER (point_key = 'limit-1khz-8ohm') AS into_8,
    max(value) FILTER (point_key = 'limit-1khz-16ohm') AS into_16,
    any_value(rated_power_w) AS rated
FROM worse
JOIN peer USING (unit_key)
WHERE metric = 'power_at_limit' AND limit_percent = $limit_percent
  AND detail NOT LIKE '%"harmonics"%'
  AND point_key IN (
      'limit-1khz-2ohm', 'limit-1khz-4ohm', 'limit-1khz-8ohm', 'limit-1khz-16ohm'
  )
GROUP BY unit_key, label, technology
ORDER BY into_8 DESC NULLS LAST, unit_key
