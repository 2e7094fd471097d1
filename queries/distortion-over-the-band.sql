-- title: Distortion at 20 Hz, 1 kHz and 20 kHz
-- question: How much higher is distortion at the ends of the audio band than at 1 kHz? Second and
--   third harmonic together, at one power and load, worse output. Two harmonics at every
--   frequency, so that the recording's bandwidth makes no difference.
-- conditions: {power}; {load}; harmonics 2 and 3; worse output; newest review
-- grain: unit_key; one row per unit
-- parameter power: text = '5w'; power of the test points: 1w, 5w, half or rated
-- parameter load: text = '8ohm'; load of the test points: 4ohm, 8ohm or 16ohm
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column at_20_hz: %; Harmonics 2 and 3 at 20 Hz
-- column at_1_khz: %; Harmonics 2 and 3 at 1 kHz
-- column at_20_khz: %; Harmonics 2 and 3 at 20 kHz
-- column rise_db: dB; Worse end re 1 kHz
WITH both_found AS (
    SELECT unit_key, output, point_key, 100 * sqrt(sum(10 ** (value / 10))) AS percent
    FROM placed
    WHERE metric = 'harmonic' AND order_n IN (2, 3)
      AND point_key IN ('tone-20hz-' || $power || '-' || $load,
                        'tone-1khz-' || $power || '-' || $load,
                        'tone-20khz-' || $power || '-' || $load)
    GROUP BY unit_key, output, point_key
    HAVING count(DISTINCT order_n) = 2 AND count(*) = 2
),
found AS (
    SELECT
        unit_key,
        max(percent) FILTER (point_key LIKE 'tone-20hz-%') AS at_20_hz,
        max(percent) FILTER (point_key LIKE 'tone-1khz-%') AS at_1_khz,
        max(percent) FILTER (point_key LIKE 'tone-20khz-%') AS at_20_khz
    FROM both_found
    GROUP BY unit_key
)
SELECT unit_key, label, technology, at_20_hz, at_1_khz, at_20_khz,
       20 * log10(greatest(at_20_hz, at_20_khz) / nullif(at_1_khz, 0)) AS rise_db
FROM found
JOIN peer USING (unit_key)
ORDER BY rise_db DESC NULLS LAST, unit_key
