-- title: Residual noise against power
-- question: Do more powerful units have more noise? A-weighted output noise against the output
--   power at 1 % THD into 8 Ω, newest review of each unit.
-- conditions: idle, input terminated; power at 1 % THD, 1 kHz, 8 Ω; newest review; bars: k = 2
-- grain: unit_key; one row per unit
-- metric: noise_a, power_at_limit
-- parameter unit: unit = ''; unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column x: W; Output power at 1 % THD, 8 Ω
-- column y: µV; Residual noise, A-weighted
-- column y_low: µV; Lower limit (k = 2)
-- column y_high: µV; Upper limit (k = 2)
-- column bound: -; Bound
-- column marked: -; Marked unit
-- chart: trend; scale = log
SELECT
    unit_key, label, technology, power.value AS x, noise.value * 1e6 AS y,
    noise.low * 1e6 AS y_low, noise.high * 1e6 AS y_high, noise.bound, unit_key = $unit AS marked
FROM (SELECT * FROM worse WHERE point_key = 'idle' AND metric = 'noise_a') AS noise
JOIN (SELECT * FROM worse WHERE point_key = 'limit-1khz-8ohm' AND metric = 'power_at_limit'
          AND limit_percent = 1 AND detail NOT LIKE '%"harmonics"%') AS power
  USING (unit_key)
JOIN peer USING (unit_key)
ORDER BY x, unit_key
