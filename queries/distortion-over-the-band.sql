-- title: Distortion over the band
-- question: How much more does a unit distort at the ends of the band than at 1 kHz? THD at 20 Hz,
--   1 kHz and 20 kHz, one power and load, the worse output.
-- conditions: {power}; {load}; the worse output; newest review
-- grain: unit_key
-- parameter power: text = '5w'; power of the test points: 1w, 5w, half or rated
-- parameter load: text = '8ohm'; load of the test points: 4ohm, 8ohm or 16ohm
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column at_20_hz: %; THD at 20 Hz
-- column at_1_khz: %; THD at 1 kHz
-- column at_20_khz: %; THD at 20 kHz
-- column rise_db: dB; Worse end over 1 kHz
WITH found AS (
    SELECT
        unit_key,
        max(value) FILTER (point_key LIKE 'tone-20hz-%') AS at_20_hz,
        max(value) FILTER (point_key LIKE 'tone-1khz-%') AS at_1_khz,
        max(value) FILTER (point_key LIKE 'tone-20khz-%') AS at_20_khz
    FROM worse
    WHERE metric = 'thd'
      AND point_key IN ('tone-20hz-' || $power || '-' || $load,
                        'tone-1khz-' || $power || '-' || $load,
                        'tone-20khz-' || $power || '-' || $load)
    GROUP BY unit_key
)
SELECT unit_key, label, technology, at_20_hz, at_1_khz, at_20_khz,
       20 * log10(greatest(at_20_hz, at_20_khz) / nullif(at_1_khz, 0)) AS rise_db
FROM found
JOIN peer USING (unit_key)
ORDER BY rise_db DESC NULLS LAST, unit_key
