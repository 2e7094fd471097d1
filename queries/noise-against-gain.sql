-- title: Residual noise against gain
-- question: Do units with more gain have more noise? A-weighted output noise against gain at 1
--   kHz, newest review of each unit.
-- conditions: idle, input terminated; gain at 1 kHz; newest review; bars: k = 2
-- grain: unit_key; one row per unit
-- metric: noise_a, gain
-- parameter unit: unit = ''; unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column x: dB; Gain at 1 kHz
-- column y: µV; Residual noise, A-weighted
-- column y_low: µV; Lower limit (k = 2)
-- column y_high: µV; Upper limit (k = 2)
-- column bound: -; Bound
-- column marked: -; Marked unit
-- chart: trend; scale = log
SELECT
    unit_key, label, technology, gain.value AS x, noise.value * 1e6 AS y, noise.low * 1e6 AS y_low,
    noise.high * 1e6 AS y_high, noise.bound, unit_key = $unit AS marked
FROM (SELECT * FROM worse WHERE point_key = 'idle' AND metric = 'noise_a') AS noise
JOIN (SELECT * FROM worse WHERE point_key = 'gain-1khz' AND metric = 'gain') AS gain
  USING (unit_key)
JOIN peer USING (unit_key)
ORDER BY x, unit_key
